/** Thresholds by zone, on decoys made up by hand. */
import { describe, expect, it } from 'vitest';
import type { Difference, Field } from '../../../pipeline/stages/compare/box-fit.ts';
import { leastThreshold, zoneAt, zonesOf } from '../../../pipeline/stages/compare/zones.ts';

const SIDE = 60;
const RIM = 6;
const ALLOWED = 0.02;

/** All of it judged; strong metal, which is trusted less, in the middle of the left half where wanted. */
function field(strong = false): Field {
  const plane = (value: (x: number, y: number) => number) =>
    Float32Array.from({ length: SIDE * SIDE }, (_, n) => value(n % SIDE, Math.floor(n / SIDE)));
  const rim = (x: number, y: number) => (Math.min(x, y, SIDE - 1 - x, SIDE - 1 - y) < RIM ? 1 : 0);
  return {
    ...{ width: SIDE, height: SIDE, coupling: new Float32Array(1), gain: plane(() => 0) },
    ...{ drawn: plane(() => 0), known: plane(() => 0) },
    trust: plane((x, y) => (strong && x >= 10 && x < 25 && y >= 20 && y < 40 ? 0.3 : 1)),
    judged: new Uint8Array(SIDE * SIDE).fill(1),
    rim: Uint8Array.from(plane(rim)),
  };
}

const at = (x: number, y: number, z: number): Difference =>
  ({
    ...{ x0: x, y0: y, x1: x + 4, y1: y + 4, ground: 'gap', sign: 1, z, amplitude: 1, areaPx: 16 },
  }) as Difference;

/** Ten decoys as noise makes them, spread over the inner field. */
const NOISE = Array.from({ length: 10 }, (_, n) =>
  at(12 + 4 * (n % 8), 12 + 8 * Math.floor(n / 8), 5 + 0.12 * n),
);

describe('thresholds by zone', () => {
  it('are not raised everywhere by what the rim of the field shows', () => {
    const quiet = zonesOf(field(), NOISE, 5, ALLOWED);
    const loud = [...NOISE, at(1, 30, 14), at(30, 1, 11), at(55, 40, 9)];
    const zones = zonesOf(field(), loud, 5, ALLOWED);
    expect(zoneAt(zones, field(), at(30, 30, 0)).thresholdZ).toBe(quiet.open.thresholdZ);
    expect(zoneAt(zones, field(), at(3, 20, 0)).thresholdZ).toBeGreaterThan(14);
    // One pixel on the rim is on the rim.
    expect(zoneAt(zones, field(), at(RIM - 1, 30, 0)).thresholdZ).toBeGreaterThan(14);
    expect(zoneAt(zones, field(), at(RIM, 30, 0)).thresholdZ).toBe(quiet.open.thresholdZ);
    expect(leastThreshold(zones)).toBe(quiet.open.thresholdZ);
  });

  it('are never lower at the rim than inside, however few decoys it has', () => {
    const zones = zonesOf(field(), NOISE, 5, ALLOWED);
    expect(zoneAt(zones, field(), at(1, 1, 0)).thresholdZ).toBe(zones.open.thresholdZ);
  });

  it('part what lies beside strong metal from the open', () => {
    const beside = [at(12, 22, 13), at(16, 28, 11), at(18, 34, 9)];
    const zones = zonesOf(field(true), [...NOISE.filter((d) => d.y0 < 16), ...beside], 5, ALLOWED);
    expect(zoneAt(zones, field(true), at(14, 30, 0)).thresholdZ).toBeGreaterThan(13);
    expect(zoneAt(zones, field(true), at(40, 30, 0)).thresholdZ).toBeLessThan(12);
  });
});
