/**
 * TRAPEZOID, CTRAPEZOID and CIRCLE.
 *
 * The 26 kinds of CTRAPEZOID come from memory of the standard's figure, worked out again below with numbers; a second
 * source, the table in a public C++ translation library between OASIS and GDSII, gives the same. What all kinds have in
 * common (edges at multiples of 45 degrees, the box, no two alike, mirror images in pairs) is checked besides.
 */
import { afterAll, describe, expect, it } from 'vitest';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import { circle } from '../../../pipeline/formats/layout/oasis-trapezoid.ts';
import type { PolygonBlock } from '../../../pipeline/formats/layout.ts';
import { polygonBox, signedArea } from '../../../shared/polygon.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { cell, oasisFile, s, u } from '../../fixtures/layout/oasis-bytes.ts';

const files = scratch();
afterAll(files.remove);

async function polygons(elements: string): Promise<PolygonBlock> {
  const layout = await readOasis(files.write('t.oas', oasisFile(cell('A', elements))));
  const block = layout.cells.get('A')?.polygons.get('1/0');
  if (block === undefined) throw new Error('no polygons');
  return block;
}

/** The corners in their order, from the lowest of the leftmost on. */
function fromFirst(xy: ArrayLike<number>): number[] {
  const points = Array.from({ length: xy.length / 2 }, (_, n) => [xy[2 * n], xy[2 * n + 1]]);
  const order = points
    .map((_, n) => n)
    .sort((a, b) => points[a][0] - points[b][0] || points[a][1] - points[b][1]);
  return [...points.slice(order[0]), ...points.slice(0, order[0])].flat();
}

/** CTRAPEZOID on 1/0 at (0, 0); sizes that the kind does not take are left out. */
const compact = (kind: number, w: number | undefined, h: number | undefined) =>
  `1A ${w === undefined ? (h === undefined ? '9B' : 'BB') : h === undefined ? 'DB' : 'FB'} 01 00 ${u(kind)} ` +
  `${w === undefined ? '' : u(w)} ${h === undefined ? '' : u(h)} 00 00`;

/** Kinds 0 to 7 at 10 x 3, 8 to 15 at 3 x 10, the others as they are; corners counter-clockwise from the first. */
const WORKED: [number, number | undefined, number | undefined, number[]][] = [
  // Lower left, lower right, upper right, upper left of a flat one; slopes of 3 across 3.
  [0, 10, 3, [0, 0, 10, 0, 7, 3, 0, 3]],
  [1, 10, 3, [0, 0, 7, 0, 10, 3, 0, 3]],
  [2, 10, 3, [0, 0, 10, 0, 10, 3, 3, 3]],
  [3, 10, 3, [3, 0, 10, 0, 10, 3, 0, 3]],
  [4, 10, 3, [0, 0, 10, 0, 7, 3, 3, 3]],
  [5, 10, 3, [3, 0, 7, 0, 10, 3, 0, 3]],
  [6, 10, 3, [0, 0, 7, 0, 10, 3, 3, 3]],
  [7, 10, 3, [3, 0, 10, 0, 7, 3, 0, 3]],
  [8, 3, 10, [0, 0, 3, 0, 3, 7, 0, 10]],
  [9, 3, 10, [0, 0, 3, 0, 3, 10, 0, 7]],
  [10, 3, 10, [0, 0, 3, 3, 3, 10, 0, 10]],
  [11, 3, 10, [0, 3, 3, 0, 3, 10, 0, 10]],
  [12, 3, 10, [0, 0, 3, 3, 3, 7, 0, 10]],
  [13, 3, 10, [0, 3, 3, 0, 3, 10, 0, 7]],
  [14, 3, 10, [0, 0, 3, 3, 3, 10, 0, 7]],
  [15, 3, 10, [0, 3, 3, 0, 3, 7, 0, 10]],
  // Right-angled triangles: the corner at the lower left, upper left, lower right, upper right.
  [16, 10, undefined, [0, 0, 10, 0, 0, 10]],
  [17, 10, undefined, [0, 0, 10, 10, 0, 10]],
  [18, 10, undefined, [0, 0, 10, 0, 10, 10]],
  [19, 10, undefined, [0, 10, 10, 0, 10, 10]],
  // Triangles on their long side: pointing up, down, right, left.
  [20, undefined, 5, [0, 0, 10, 0, 5, 5]],
  [21, undefined, 5, [0, 5, 5, 0, 10, 5]],
  [22, 5, undefined, [0, 0, 5, 5, 0, 10]],
  [23, 5, undefined, [0, 5, 5, 0, 5, 10]],
  [24, 10, 3, [0, 0, 10, 0, 10, 3, 0, 3]],
  [25, 10, undefined, [0, 0, 10, 0, 10, 10, 0, 10]],
];

describe('CTRAPEZOID', () => {
  it.each(WORKED)('kind %i of %s x %s', async (kind, w, h, corners) => {
    const { xy } = await polygons(compact(kind, w, h));
    expect(fromFirst(xy)).toEqual(fromFirst(corners));
  });

  it('every kind has edges at multiples of 45 degrees, winds one way, and fills its box', async () => {
    for (const [kind, w, h] of WORKED) {
      const { xy } = await polygons(compact(kind, w, h));
      for (let n = 0; n < xy.length; n += 2) {
        const dx = xy[(n + 2) % xy.length] - xy[n];
        const dy = xy[(n + 3) % xy.length] - xy[n + 1];
        expect(dx === 0 || dy === 0 || Math.abs(dx) === Math.abs(dy)).toBe(true);
      }
      expect(signedArea(xy)).toBeGreaterThan(0);
      const [x0, y0, x1, y1] = polygonBox(xy);
      expect([x0, y0]).toEqual([0, 0]);
      if (w !== undefined) expect(x1).toBe(w);
      if (h !== undefined) expect(y1).toBe(h);
    }
  });

  it('pairs of kinds are mirror images of each other', async () => {
    const outline = async (kind: number) => {
      const found = WORKED.find(([one]) => one === kind) as (typeof WORKED)[number];
      return Array.from((await polygons(compact(found[0], found[1], found[2]))).xy);
    };
    const points = (xy: number[]) =>
      Array.from({ length: xy.length / 2 }, (_, n) => `${xy[2 * n]} ${xy[2 * n + 1]}`).sort();
    const mirrored = (xy: number[], axis: 0 | 1) => {
      const [, , x1, y1] = polygonBox(xy);
      return xy.map((value, at) => (at % 2 === axis ? (axis === 0 ? x1 : y1) - value : value));
    };
    const flipped = (xy: number[]) => xy.map((_, at) => xy[at % 2 === 0 ? at + 1 : at - 1]);
    const upsideDown = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 9, 11, 14, 15, 16, 17, 18, 19, 20, 21];
    for (let n = 0; n < upsideDown.length; n += 2) {
      const [a, b] = upsideDown.slice(n, n + 2);
      expect(points(mirrored(await outline(a), 1))).toEqual(points(await outline(b)));
    }
    const leftToRight = [0, 2, 1, 3, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 17, 19, 22, 23];
    for (let n = 0; n < leftToRight.length; n += 2) {
      const [a, b] = leftToRight.slice(n, n + 2);
      expect(points(mirrored(await outline(a), 0))).toEqual(points(await outline(b)));
    }
    const aboutTheDiagonal = [0, 8, 1, 9, 2, 10, 3, 11, 4, 12, 5, 13, 6, 14, 7, 15, 20, 22, 21, 23];
    for (let n = 0; n < aboutTheDiagonal.length; n += 2) {
      const [a, b] = aboutTheDiagonal.slice(n, n + 2);
      expect(points(flipped(await outline(a)))).toEqual(points(await outline(b)));
    }
  });

  it('sizes that the kind does not take are read and do nothing', async () => {
    const { xy } = await polygons(compact(16, 10, 77));
    expect(fromFirst(xy)).toEqual([0, 0, 10, 0, 0, 10]);
  });

  it.each([
    [0, 3, 4],
    [4, 7, 4],
    [6, 3, 4],
    [8, 4, 3],
    [12, 4, 7],
    [15, 4, 3],
    [26, 4, 4],
  ])('kind %i of %i x %i is refused', async (kind, w, h) => {
    await expect(polygons(compact(kind, w, h))).rejects.toMatchObject({ tag: 'malformed' });
  });

  it('is degenerate at the limits of its kind and still read', async () => {
    expect(signedArea((await polygons(compact(0, 4, 4))).xy)).toBe(8);
    expect(signedArea((await polygons(compact(4, 8, 4))).xy)).toBe(16);
    // Parallel sides need only w >= h.
    expect(signedArea((await polygons(compact(6, 6, 4))).xy)).toBe(8);
  });

  it('takes kind and sizes from the records before', async () => {
    // w 10, h 3, kind 2; then kind 16 without sizes; then a RECTANGLE of 10 x 3 again.
    const { xy, starts } = await polygons(`${compact(2, 10, 3)} 1A 80 10 14 00`);
    expect([...starts]).toEqual([0, 4, 7, 11]);
    expect([...xy.subarray(8, 14)]).toEqual([0, 0, 10, 0, 0, 10]);
    expect([...xy.subarray(14)]).toEqual([0, 0, 10, 0, 10, 3, 0, 3]);
  });
});

describe('TRAPEZOID', () => {
  /** On 1/0 at (0, 0). */
  const plain = (record: string, info: string, w: number, h: number, deltas: string) =>
    `${record} ${info} 01 00 ${u(w)} ${u(h)} ${deltas} 00 00`;

  // Worked by hand: flat: a from lower left to upper left along x, b from lower right to upper right. Upright: a from
  // lower right to lower left along y, b from upper right to upper left.
  it.each([
    ['flat, both inwards', plain('17', '7B', 20, 5, `${s(4)} ${s(-6)}`), [0, 0, 20, 0, 14, 5, 4, 5]],
    ['flat, both outwards', plain('17', '7B', 20, 5, `${s(-4)} ${s(6)}`), [4, 0, 14, 0, 20, 5, 0, 5]],
    ['flat, leaning right', plain('17', '7B', 20, 5, `${s(4)} ${s(6)}`), [0, 0, 14, 0, 20, 5, 4, 5]],
    ['flat, leaning left', plain('17', '7B', 20, 5, `${s(-4)} ${s(-6)}`), [4, 0, 20, 0, 14, 5, 0, 5]],
    ['flat, a alone', plain('18', '7B', 20, 5, s(4)), [0, 0, 20, 0, 20, 5, 4, 5]],
    ['flat, b alone', plain('19', '7B', 20, 5, s(-6)), [0, 0, 20, 0, 14, 5, 0, 5]],
    ['upright, wide at the right', plain('17', 'FB', 5, 20, `${s(4)} ${s(-6)}`), [0, 4, 5, 0, 5, 20, 0, 14]],
    ['upright, wide at the left', plain('17', 'FB', 5, 20, `${s(-4)} ${s(6)}`), [0, 0, 5, 4, 5, 14, 0, 20]],
    ['upright, falling', plain('17', 'FB', 5, 20, `${s(4)} ${s(6)}`), [0, 4, 5, 0, 5, 14, 0, 20]],
    ['upright, rising', plain('17', 'FB', 5, 20, `${s(-4)} ${s(-6)}`), [0, 0, 5, 4, 5, 20, 0, 14]],
    ['upright, a alone', plain('18', 'FB', 5, 20, s(4)), [0, 4, 5, 0, 5, 20, 0, 20]],
    ['upright, b alone', plain('19', 'FB', 5, 20, s(-6)), [0, 0, 5, 0, 5, 20, 0, 14]],
  ])('%s', async (_, elements, corners) => {
    expect(fromFirst((await polygons(elements)).xy)).toEqual(fromFirst(corners));
  });

  it.each([
    ['17', '7B', 20, 5, `${s(12)} ${s(-12)}`],
    ['17', '7B', 20, 5, `${s(21)} ${s(21)}`],
    ['18', 'FB', 5, 20, s(21)],
  ])('%s %s %i x %i with deltas %s would cross itself', async (record, info, w, h, deltas) => {
    await expect(polygons(plain(record, info, w, h, deltas))).rejects.toMatchObject({ tag: 'malformed' });
  });
});

describe('CIRCLE', () => {
  it('is a polygon round its centre', async () => {
    // Radius 500 at (1000, -200).
    const { xy } = await polygons(`1B 3B 01 00 ${u(500)} ${s(1000)} ${s(-200)}`);
    expect(xy).toBeInstanceOf(Float64Array);
    expect(polygonBox(xy)).toEqual([500, -700, 1500, 300]);
    for (let n = 0; n < xy.length; n += 2) {
      expect(Math.hypot(xy[n] - 1000, xy[n + 1] + 200)).toBeCloseTo(500, 9);
    }
  });

  it.each([1, 2, 7, 64, 100, 1000, 13_000, 1e6, 2 ** 40])(
    'of radius %d lies near the true circle',
    (radius) => {
      const xy = circle(radius);
      let most = 0;
      for (let n = 0; n < xy.length; n += 2) {
        const mx = (xy[n] + xy[(n + 2) % xy.length]) / 2;
        const my = (xy[n + 1] + xy[(n + 3) % xy.length]) / 2;
        most = Math.max(most, radius - Math.hypot(mx, my));
      }
      // Below 1 dbu and 1/64 of the radius while 256 chords do, which is up to 13 000 dbu; far below 1/64 beyond.
      expect(most).toBeLessThan(radius <= 13_000 ? Math.min(1, radius / 64) : radius / 13_000);
      expect(signedArea(xy)).toBeGreaterThan(0);
      expect(xy.length).toBeLessThanOrEqual(512);
    },
  );

  it('of radius 0 is none', async () => {
    const layout = await readOasis(files.write('c.oas', oasisFile(cell('A', '1B 3B 01 00 00 00 00'))));
    expect(layout.cells.get('A')?.polygons.size).toBe(0);
    expect(layout.notes.join()).toContain('signed area is zero');
  });
});
