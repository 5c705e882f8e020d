/** How far a model may be off, against residuals that are drawn with a known share of what the model puts there. */
import { describe, expect, it } from 'vitest';
import type { Canvas } from '../../../pipeline/stages/compare/canvas.ts';
import { misfit } from '../../../pipeline/stages/compare/misfit.ts';
import { generator } from '../../fixtures/random.ts';

const SIDE = 220;
const canvas: Canvas = {
  grid: { origin_um: [0, 0], pixel_um: 0.04, width_px: SIDE, height_px: SIDE },
  width: SIDE,
  height: SIDE,
  mask: new Uint8Array(SIDE * SIDE).fill(1),
};

/** @source Box and Muller, Ann. Math. Stat. 29, 610 (1958) */
function normals(seed: number): () => number {
  const random = generator(seed);
  return () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
}

/** Squares of 20 pixels of a strength of 100, 40 apart. */
const inside = (n: number): boolean => (n % SIDE) % 40 < 20 && Math.floor(n / SIDE) % 40 < 20;
const middle = (n: number): boolean =>
  (n % SIDE) % 40 > 5 &&
  (n % SIDE) % 40 < 14 &&
  Math.floor(n / SIDE) % 40 > 5 &&
  Math.floor(n / SIDE) % 40 < 14;

const planes = () =>
  [
    Float32Array.from({ length: SIDE * SIDE }, (_, n) => (inside(n) ? 1e4 : 0)),
    ...[1, 2, 3].map(() => new Float32Array(SIDE * SIDE)),
  ] as unknown as Parameters<typeof misfit>[1];

const spread = (values: number[]): number => Math.sqrt(values.reduce((s, v) => s + v * v, 0) / values.length);

describe('misfit', () => {
  it.each([0.06, 0.15])('finds that a model is off by a share of %f of its strength', (share) => {
    const normal = normals(3);
    const residual = Float32Array.from(
      { length: SIDE * SIDE },
      (_, n) => (inside(n) ? Math.hypot(1, 100 * share) : 1) * normal(),
    );
    const off = misfit(residual, planes(), canvas);
    const rows = [...residual.keys()];
    expect(spread(rows.filter(middle).map((n) => residual[n]! / off[n]!))).toBeCloseTo(1, 1);
    expect(spread(rows.filter((n) => off[n] === 1).map((n) => residual[n]!))).toBeCloseTo(1, 1);
  });

  it('never trusts a model fully, however well it seems to fit', () => {
    const normal = normals(5);
    const residual = Float32Array.from({ length: SIDE * SIDE }, () => 0.1 * normal());
    const off = misfit(residual, planes(), canvas);
    expect(off[10 * SIDE + 10]!).toBeGreaterThan(10);
  });

  it('is not misled by a few places that are no misfit', () => {
    const normal = normals(7);
    const residual = Float32Array.from({ length: SIDE * SIDE }, () => normal());
    for (let y = 2; y < 8; y++) residual.fill(90, y * SIDE + 2, y * SIDE + 8);
    const off = misfit(residual, planes(), canvas);
    expect(off[50 * SIDE + 50]!).toBeLessThan(9);
  });
});
