/** Halos of stronger differences in other layers, on layers made by hand: kernels and noise are given, so that halos are known. */
import { describe, expect, it } from 'vitest';
import type { Difference, Field } from '../../../pipeline/stages/compare/box-fit.ts';
import { COUPLING_REACH, couplingKernel } from '../../../pipeline/stages/compare/evidence.ts';
import { type LayerDifferences, withoutGhosts } from '../../../pipeline/stages/compare/ghosts.ts';

const SIDE = 80;
const OWN = [1, 0, 0, 0, 0, 0];
/** Of metal of the other layer a third shows. */
const SHOWS = 0.3;
const noise = { reach: 0, taps: Float64Array.of(1), innovation: 1 };
const coupling = couplingKernel(OWN, noise, OWN);
const even = (value: number): Float32Array => new Float32Array(SIDE * SIDE).fill(value);
const field: Field = {
  ...{ width: SIDE, height: SIDE, gain: even(0), coupling, trust: even(1), drawn: even(0), known: even(0) },
  judged: new Uint8Array(SIDE * SIDE).fill(1),
};

/** Extra metal in a box; its deviation is what the coupling of its pixels says. */
function extra(x0: number, y0: number, size: number, amplitude: number): Difference {
  let q = 0;
  const reach = COUPLING_REACH;
  for (let a = 0; a < size * size; a++)
    for (let b = 0; b < size * size; b++) {
      const [dx, dy] = [(b % size) - (a % size), Math.floor(b / size) - Math.floor(a / size)];
      q += coupling[(dy + reach) * (2 * reach + 1) + dx + reach]!;
    }
  return {
    ...{ x0, y0, x1: x0 + size, y1: y0 + size, ground: 'gap', sign: 1, amplitude, areaPx: size * size },
    ...{ amplitudeSd: 1 / Math.sqrt(q), llr: (amplitude * amplitude * q) / 2, z: amplitude * Math.sqrt(q) },
  };
}

function layer(number: number, found: readonly Difference[]): LayerDifferences {
  const kernels = new Map([
    [number, Float64Array.from(OWN)],
    [1 - number, Float64Array.from(OWN, (v) => SHOWS * v)],
  ]);
  const fit = {
    kernels,
    wideningPx: 0,
    shiftPx: [0, 0],
    uncertaintyPx: [0, 0, 0],
    correlation: 1,
    residual: 1,
  } as const;
  return { number, field, fit, noise, found, decoys: [] };
}

const via = extra(30, 30, 5, 1);
const halo = extra(30, 30, 5, SHOWS);
const kept = (found: readonly Difference[]): readonly Difference[] =>
  withoutGhosts([layer(0, [via]), layer(1, found)])[1]!.found;

describe('withoutGhosts', () => {
  it('keeps the stronger difference and leaves its halo out', () => {
    expect(withoutGhosts([layer(0, [via]), layer(1, [halo])])).toEqual([
      { found: [via], decoys: [] },
      { found: [], decoys: [] },
    ]);
  });

  it('leaves out what is fitted beside a halo, and keeps as much away from it', () => {
    expect(kept([halo, extra(36, 31, 3, 0.35)])).toEqual([]);
    const away = extra(60, 60, 3, 0.35);
    expect(kept([halo, away])).toEqual([away]);
  });

  it('keeps metal of its own beside a halo, and under a stronger difference', () => {
    const beside = extra(36, 31, 3, 1);
    expect(kept([halo, beside])).toEqual([beside]);
    const both = extra(30, 30, 5, 1 + SHOWS);
    expect(kept([both])).toEqual([both]);
  });
});
