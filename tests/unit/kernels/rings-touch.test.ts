/** Touching polygons against polygon-clipping, and by hand where only an edge or a corner is shared. */
import polygonClipping, { type Polygon } from 'polygon-clipping';
import { describe, expect, it } from 'vitest';
import { centreLineLength, cleanRing, clipRing, rectangleOf } from '../../../pipeline/kernels/ring-clip.ts';
import { ringsJoin, ringsOverlap, ringsWithin } from '../../../pipeline/kernels/rings-touch.ts';
import { trapezoidsOf } from '../../../pipeline/kernels/trapezoids.ts';
import { signedArea, windingNumber } from '../../../shared/polygon.ts';
import { generator } from '../../fixtures/random.ts';

const square = [0, 0, 10, 0, 10, 10, 0, 10];
const moved = (ring: readonly number[], x: number, y: number) => ring.map((v, n) => v + (n % 2 ? y : x));
const turned = (ring: readonly number[]) => {
  const points = Array.from({ length: ring.length / 2 }, (_, n) => ring.slice(2 * n, 2 * n + 2));
  return points.reverse().flat();
};
const asPolygon = (ring: readonly number[]): Polygon => [
  Array.from({ length: ring.length / 2 }, (_, n) => [ring[2 * n]!, ring[2 * n + 1]!] as [number, number]),
];
const areaOfMulti = (multi: ReturnType<typeof polygonClipping.union>) =>
  multi.reduce(
    (sum, polygon) =>
      sum + polygon.reduce((s, ring, n) => s + (n === 0 ? 1 : -1) * Math.abs(signedArea(ring.flat())), 0),
    0,
  );

describe('touching', () => {
  const cases: [string, number[], boolean, boolean][] = [
    ['apart', moved(square, 11, 0), false, false],
    ['an edge', moved(square, 10, 0), true, false],
    ['a piece of an edge', moved(square, 10, 9), true, false],
    ['a corner', moved(square, 10, 10), false, false],
    ['a sliver', moved(square, 9, 9), true, true],
    ['itself', square, true, true],
    ['a box inside', [2, 2, 4, 2, 4, 4, 2, 4], true, true],
    ['a box inside on the edge', [0, 2, 4, 2, 4, 4, 0, 4], true, true],
    ['a bar across, edge on edge', [-5, 0, 15, 0, 15, 10, -5, 10], true, true],
    ['a corner on an edge', [10, 5, 15, 0, 15, 10], false, false],
    ['a corner through an edge', [9, 5, 15, 0, 15, 10], true, true],
    ['a diagonal through two corners', [-5, -5, 15, 15, 20, 10], true, true],
    ['a diagonal outside along a corner', [0, 20, 20, 0, 20, 20], false, false],
    ['a star through the corners only', [-5, 5, 5, -5, 15, 5, 5, 15], true, true],
  ];
  it.each(cases)('%s', (_, other, join, overlap) => {
    for (const a of [square, turned(square)]) {
      for (const b of [other, turned(other)]) {
        expect([ringsJoin(a, b), ringsJoin(b, a)]).toEqual([join, join]);
        expect([ringsOverlap(a, b), ringsOverlap(b, a)]).toEqual([overlap, overlap]);
      }
    }
  });

  it('finds what lies in the hole of a ring cut open apart, and what stands on its rim joined', () => {
    const frame = [0, 0, 30, 0, 30, 30, 0, 30, 0, 10, 10, 10, 10, 20, 20, 20, 20, 10, 0, 10];
    expect(ringsJoin(frame, [12, 12, 18, 12, 18, 18, 12, 18])).toBe(false);
    expect(ringsJoin(frame, [10, 12, 18, 12, 18, 18, 10, 18])).toBe(true);
    expect(ringsOverlap(frame, [10, 12, 18, 12, 18, 18, 10, 18])).toBe(false);
  });

  it('agrees with polygon-clipping on random polygons on a coarse grid', () => {
    const random = generator(5);
    const below = (n: number) => Math.floor(random() * n);
    const counts = { join: 0, overlap: 0, neither: 0 };
    for (let n = 0; n < 1500; n++) {
      const a = randomRing(below);
      const b = randomRing(below);
      const shared = areaOfMulti(polygonClipping.intersection(asPolygon(a), asPolygon(b)));
      const overlap = shared > 1e-9;
      expect(ringsOverlap(a, b), JSON.stringify([a, b])).toBe(overlap);
      // polygon-clipping leaves two polygons apart that share a corner, and makes one of two that share an edge.
      const join = overlap || polygonClipping.union(asPolygon(a), asPolygon(b)).length === 1;
      expect(ringsJoin(a, b), JSON.stringify([a, b])).toBe(join);
      counts[overlap ? 'overlap' : join ? 'join' : 'neither']++;
    }
    for (const count of Object.values(counts)) expect(count).toBeGreaterThan(30);
  });

  it('tells distances, corner to corner and corner to edge', () => {
    expect(ringsWithin(square, moved(square, 11, 11), 1.5)).toBe(true);
    expect(ringsWithin(square, moved(square, 11, 11), 1.4)).toBe(false);
    expect(ringsWithin([0, 0, 100, 0, 50, 10], [50, 11, 60, 20, 40, 20], 1)).toBe(true);
  });
});

/** Triangles, boxes and L shapes with corners on a grid of 12 by 12, so that they often meet in corners and edges. */
function randomRing(below: (n: number) => number): number[] {
  const [x, y, w, h] = [below(12), below(12), 1 + below(6), 1 + below(6)];
  switch (below(3)) {
    case 0:
      return [x, y, x + w, y, x + w, y + h, x, y + h];
    case 1:
      return [x, y, x + w, y, x + below(w + 1), y + h];
    default:
      return [x, y, x + w + 1, y, x + w + 1, y + 1, x + 1, y + 1, x + 1, y + h + 1, x, y + h + 1];
  }
}

describe('rings', () => {
  it('are cleaned of spikes, repeats and corners on a line', () => {
    expect(cleanRing([0, 0, 5, 0, 10, 0, 10, 10, 10, 15, 10, 10, 0, 10, 0, 10])).toEqual(square);
    expect(cleanRing([0, 0, 10, 0, 5, 0])).toEqual([]);
  });

  it('are known as upright rectangles from any corner and either way round', () => {
    expect(rectangleOf(turned(square))).toEqual([0, 0, 10, 10]);
    expect(rectangleOf([10, 0, 10, 10, 0, 10, 0, 0])).toEqual([0, 0, 10, 10]);
    expect(rectangleOf([0, 0, 10, 0, 11, 10, 0, 10])).toBeNull();
  });

  it('are cut to a box with the area that polygon-clipping gives', () => {
    const random = generator(8);
    const below = (n: number) => Math.floor(random() * n);
    for (let n = 0; n < 300; n++) {
      const ring = randomRing(below);
      const box = [below(8), below(8), 8 + below(8), 8 + below(8)] as const;
      const frame = [box[0], box[1], box[2], box[1], box[2], box[3], box[0], box[3]];
      const peer = areaOfMulti(polygonClipping.intersection(asPolygon(ring), asPolygon(frame)));
      expect(Math.abs(signedArea(clipRing(ring, box)))).toBeCloseTo(peer, 9);
    }
  });

  it('fall into trapezoids that cover them once', () => {
    const random = generator(9);
    const below = (n: number) => Math.floor(random() * n);
    for (let n = 0; n < 200; n++) {
      const ring = randomRing(below);
      const area = trapezoidsOf(ring).reduce(
        (sum, t) => sum + ((t.right0 - t.left0 + t.right1 - t.left1) * (t.y1 - t.y0)) / 2,
        0,
      );
      expect(area).toBeCloseTo(Math.abs(signedArea(ring)), 9);
    }
    const crossing = [0, 0, 10, 10, 10, 0, 0, 10];
    for (const t of trapezoidsOf(crossing)) {
      const x = (t.left0 + t.right0 + t.left1 + t.right1) / 4;
      expect(windingNumber(crossing, x, (t.y0 + t.y1) / 2)).not.toBe(0);
    }
  });

  it('tell the length of their centre line: worked by hand', () => {
    // A wire of width 2 whose centre line runs 20 along x and then 30 along y, ends half a width beyond it.
    const bend = [-1, -1, 21, -1, 21, 31, 19, 31, 19, 1, -1, 1];
    expect(centreLineLength(bend)).toBeCloseTo(50, 9);
    expect(centreLineLength(square)).toBe(0);
  });
});
