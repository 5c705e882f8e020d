import polygonClipping from 'polygon-clipping';
import { describe, expect, it } from 'vitest';
import { addRing, cutRing, emptyMask, type FineGrid } from '../../../demo-volume/image/coverage.ts';
import { normalCdf, printLayer } from '../../../demo-volume/image/layer-mask.ts';
import { addUnion } from '../../../demo-volume/image/union-coverage.ts';
import { ringHolds } from '../../../demo-volume/layout/connectivity.ts';
import { randomStream } from '../../../demo-volume/random.ts';
import { printed, square } from './small-plan.ts';

type Pair = [number, number];

/** Outer rings turn left, holes right; shoelace formula. */
const signedArea = (ring: readonly Pair[]): number =>
  ring.reduce((sum, [x, y], i) => {
    const [u, v] = ring[(i + 1) % ring.length]!;
    return sum + (x * v - u * y) / 2;
  }, 0);

const grid = (width: number, height: number, pixelUm = 1): FineGrid => ({
  ...{ x0Um: 0, y0Um: 0, pixelUm, width, height },
});

describe('coverage', () => {
  it('gives hand-worked areas', () => {
    const mask = emptyMask(grid(4, 3));
    addRing(mask, [0.5, 0.5, 2.25, 0.5, 2.25, 2, 0.5, 2]);
    const want = [0.25, 0.5, 0.125, 0, 0.5, 1, 0.25, 0, 0, 0, 0, 0];
    want.forEach((v, i) => expect(mask.values[i]).toBeCloseTo(v, 6));
    const triangle = emptyMask(grid(2, 2));
    // The half square below the diagonal from (0, 0) to (2, 2).
    addRing(triangle, [0, 0, 2, 0, 2, 2]);
    [0.5, 1, 0, 0.5].forEach((v, i) => expect(triangle.values[i]).toBeCloseTo(v, 6));
    const flat = emptyMask(grid(4, 1));
    // A flat edge over four pixels: y = x / 4 leaves areas 1/8, 3/8, 5/8, 7/8 below it.
    addRing(flat, [0, 0, 4, 0, 4, 1]);
    [0.125, 0.375, 0.625, 0.875].forEach((v, i) => expect(flat.values[i]).toBeCloseTo(v, 6));
  });

  it('agrees with dense point sampling for random rings, pixel by pixel', () => {
    const random = randomStream(3, 'rings');
    const side = 9;
    const sub = 24;
    for (let trial = 0; trial < 30; trial++) {
      const corners = 3 + random.below(9);
      const ring: number[] = [];
      for (let c = 0; c < corners; c++) {
        const a = (2 * Math.PI * (c + 0.8 * random.uniform())) / corners;
        const r = random.between(0.6, 5.2);
        ring.push(4.5 + r * Math.cos(a), 4.5 + r * Math.sin(a));
      }
      const mask = emptyMask(grid(side, side));
      addRing(mask, ring);
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          let inside = 0;
          for (let v = 0; v < sub; v++)
            for (let u = 0; u < sub; u++)
              if (ringHolds(ring, x + (u + 0.5) / sub, y + (v + 0.5) / sub)) inside++;
          // Shapes that leave the window are cut at its sides, where the clipped edge is no longer straight.
          if (x > 0 && x < side - 1)
            expect(Math.abs(mask.values[y * side + x]! - inside / sub ** 2)).toBeLessThan(0.05);
        }
    }
  });

  it('counts a pixel once where edges lie over one another, and adds them where they abut', () => {
    const wire = [0.3, 0, 2.4, 0, 2.4, 1, 0.3, 1];
    const twice = emptyMask(grid(4, 1));
    addUnion(twice, [wire, wire, wire]);
    [0.7, 1, 0.4, 0].forEach((v, i) => expect(twice.values[i]).toBeCloseTo(v, 6));
    const abutting = emptyMask(grid(4, 1));
    addUnion(abutting, [[0, 0, 1.3, 0, 1.3, 1, 0, 1], wire, [2.4, 0, 3.2, 0, 3.2, 1, 2.4, 1]]);
    [1, 1, 1, 0.2].forEach((v, i) => expect(abutting.values[i]).toBeCloseTo(v, 6));
  });

  it('agrees with the union of a reference library (polygon-clipping), pixel by pixel', () => {
    const random = randomStream(8, 'overlaps');
    const side = 8;
    let worst = 0;
    for (let trial = 0; trial < 40; trial++) {
      // Rectangles and a triangle on a coarse raster, so that edges often lie over one another or abut.
      const at = () => random.below(15) / 2 + 0.25;
      const rings: number[][] = Array.from({ length: 2 + random.below(5) }, (_, n) => {
        const [x, y, w, h] = [at(), at(), 0.5 + random.below(8) / 2, 0.5 + random.below(8) / 2];
        return n === 0 ? [x, y, x + w, y, x, y + h] : [x, y, x + w, y, x + w, y + h, x, y + h];
      });
      const mask = emptyMask(grid(side, side));
      addUnion(mask, rings);
      const polygons = rings.map((ring): Pair[][] => [
        Array.from({ length: ring.length / 2 }, (_, i): Pair => [ring[2 * i]!, ring[2 * i + 1]!]),
      ]);
      const union = polygonClipping.union(polygons[0]!, ...polygons.slice(1));
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          const pixel: Pair[] = [
            [x, y],
            [x + 1, y],
            [x + 1, y + 1],
            [x, y + 1],
          ];
          const cut = polygonClipping.intersection(union, [pixel]);
          const area = cut.flat().reduce((sum, ring) => sum + signedArea(ring), 0);
          // At its sides the window cuts slanted edges.
          if (x > 0 && x < side - 1) worst = Math.max(worst, Math.abs(area - mask.values[y * side + x]!));
        }
    }
    expect(worst).toBeLessThan(1.5 / 16);
  });

  it('adds what abuts, keeps what overlaps, and takes away what is cut', () => {
    const mask = emptyMask(grid(3, 1));
    addRing(mask, [0, 0, 0.5, 0, 0.5, 1, 0, 1]);
    addRing(mask, [0.5, 0, 2, 0, 2, 1, 0.5, 1]);
    addRing(mask, [0, 0, 2, 0, 2, 1, 0, 1]);
    [1, 1, 0].forEach((v, i) => expect(mask.values[i]).toBeCloseTo(v, 6));
    cutRing(mask, [0.75, 0, 1, 0, 1, 1, 0.75, 1]);
    [0.75, 1, 0].forEach((v, i) => expect(mask.values[i]).toBeCloseTo(v, 6));
  });
});

describe('printing', () => {
  const fine = { x0Um: -1, y0Um: -1, pixelUm: 0.02, width: 100, height: 100 };
  const area = (values: Float32Array): number => values.reduce((s, v) => s + v, 0) * 0.02 ** 2;

  it('keeps the middle of a straight edge and rounds the corners', () => {
    const mask = printLayer(printed([square(0, 0, 0.5)]), fine);
    const row = mask.values.subarray(50 * 100, 51 * 100);
    expect(row.reduce((s, v) => s + v, 0) * 0.02).toBeCloseTo(1, 3);
    // The blurred corner is a quarter of the level at the drawn corner, so metal is lost there.
    expect(mask.values[25 * 100 + 25]!).toBeLessThan(0.2);
    expect(area(mask.values)).toBeLessThan(1);
    expect(area(mask.values)).toBeGreaterThan(0.99);
  });

  it('moves every edge out by the bias', () => {
    const mask = printLayer({ ...printed([square(0, 0, 0.5)]), biasUm: 0.012 }, fine);
    const row = mask.values.subarray(50 * 100, 51 * 100);
    expect(row.reduce((s, v) => s + v, 0) * 0.02).toBeCloseTo(1.024, 3);
  });

  it('uses the normal distribution function of the tables', () => {
    // Abramowitz and Stegun, table 26.1.
    expect(normalCdf(0)).toBeCloseTo(0.5, 6);
    expect(normalCdf(1)).toBeCloseTo(0.8413447, 6);
    expect(normalCdf(-1.96)).toBeCloseTo(0.0249979, 6);
  });
});
