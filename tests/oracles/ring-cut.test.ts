/**
 * Boxes taken out of rings, against polygon-clipping 0.15 (npm), an independent implementation of the Martinez-Rueda
 * algorithm: same area, same points.
 */
import polygonClipping from 'polygon-clipping';
import { describe, expect, it } from 'vitest';
import { ringOutsideBox } from '../../pipeline/formats/layout/ring-cut.ts';
import { type Box, signedArea, windingNumber } from '../../shared/polygon.ts';
import { randomNumbers } from '../fixtures/layout/gdsii-random.ts';

const pairs = (ring: readonly number[]): [number, number][] =>
  Array.from({ length: ring.length / 2 }, (_, n) => [ring[2 * n]!, ring[2 * n + 1]!]);

function areaOutside(ring: readonly number[], [x0, y0, x1, y1]: Box): number {
  const box: [number, number][] = [
    [x0, y0],
    [x1, y0],
    [x1, y1],
    [x0, y1],
  ];
  return polygonClipping
    .difference([pairs(ring)], [box])
    .flatMap((polygon) =>
      polygon.map((r, n) => (n === 0 ? 1 : -1) * Math.abs(signedArea(r.slice(0, -1).flat()))),
    )
    .reduce((a, b) => a + b, 0);
}

/** A comb, a spiral, a plate with a slit to its hole, a diamond: shapes that fall apart when cut. */
const SHAPES: Record<string, number[]> = {
  comb: [0, 0, 90, 0, 90, 50, 80, 50, 80, 10, 50, 10, 50, 50, 40, 50, 40, 10, 10, 10, 10, 50, 0, 50],
  spiral: [
    0, 0, 60, 0, 60, 60, 10, 60, 10, 20, 40, 20, 40, 40, 30, 40, 30, 30, 20, 30, 20, 50, 50, 50, 50, 10, 0,
    10,
  ],
  'plate with a hole': [
    0, 0, 60, 0, 60, 60, 0, 60, 0, 30, 20, 30, 20, 40, 40, 40, 40, 20, 20, 20, 20, 30, 0, 30,
  ],
  diamond: [30, 0, 60, 30, 30, 60, 0, 30],
  slanted: [0, 0, 50, 7, 70, 60, 33, 41, 12, 66],
};

describe('a box taken out of a ring', () => {
  it.each(Object.entries(SHAPES))('leaves of a %s what polygon-clipping leaves', (_, ring) => {
    const below = randomNumbers(7);
    for (let round = 0; round < 120; round++) {
      // Multiples of five: cuts run along edges and through corners as often as not.
      const step = round % 2 === 0 ? 5 : 1;
      const x0 = step * below(70 / step) - 5;
      const y0 = step * below(70 / step) - 5;
      const box: Box = [x0, y0, x0 + step * (1 + below(40 / step)), y0 + step * (1 + below(40 / step))];
      const parts = ringOutsideBox(ring, box);
      const area = parts.reduce((sum, part) => sum + Math.abs(signedArea(part)), 0);
      expect(area).toBeCloseTo(areaOutside(ring, box), 6);
      for (let n = 0; n < 40; n++) {
        const [x, y] = [below(100) - 4.737, below(80) - 6.411];
        const inBox = x > box[0] && x < box[2] && y > box[1] && y < box[3];
        const inParts = parts.filter((part) => windingNumber(part, x, y) !== 0).length;
        expect(inParts).toBe(!inBox && windingNumber(ring, x, y) !== 0 ? 1 : 0);
      }
    }
  });

  it('gives parts that do not hang together through the box', () => {
    // The back of the comb goes; three teeth stay, each a rectangle of its own.
    const teeth = ringOutsideBox(SHAPES.comb!, [-5, -5, 95, 20]);
    expect(teeth.map((ring) => pairs(ring).length)).toEqual([4, 4, 4]);
  });
});
