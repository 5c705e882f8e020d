import { describe, expect, it } from 'vitest';
import { DrawnShapes } from '../../../pipeline/stages/measure/drawn-shapes.ts';
import { chooseSites, isLine } from '../../../pipeline/stages/measure/sites.ts';
import { windingNumber } from '../../../shared/polygon.ts';
import { generator } from '../../fixtures/random.ts';

const box = (x0: number, y0: number, x1: number, y1: number) =>
  Float64Array.of(x0, y0, x1, y0, x1, y1, x0, y1);

describe('what is drawn along a path', () => {
  it('is the union of shapes, by hand', () => {
    const shapes = new DrawnShapes([box(0, 0, 2, 2), box(1, 0, 3, 2), box(3, 0, 4, 2), box(6, 0, 7, 2)]);
    expect(shapes.along(-1, 1, 1, 0, 10)).toEqual([
      [1, 5],
      [7, 8],
    ]);
    expect(shapes.along(0.5, 1, 1, 0, 1)).toEqual([[0, 1]]);
    expect(shapes.along(5, -3, 0, 1, 10)).toEqual([]);
    const [[from, to]] = shapes.along(-1, -1, Math.SQRT1_2, Math.SQRT1_2, 10) as [[number, number]];
    expect(from).toBeCloseTo(Math.SQRT2, 9);
    expect(to).toBeCloseTo(3 * Math.SQRT2, 9);
    expect(new DrawnShapes([]).along(0, 0, 1, 0, 5)).toEqual([]);
  });

  it('agrees with point-by-point winding numbers for random triangles at random angles', () => {
    const random = generator(20250);
    for (let t = 0; t < 60; t++) {
      const polygons = Array.from({ length: 6 }, () => Float64Array.from({ length: 6 }, () => 10 * random()));
      const shapes = new DrawnShapes(polygons);
      const angle = 2 * Math.PI * random();
      const [ux, uy] = [Math.cos(angle), Math.sin(angle)];
      const [x, y] = [5 - 6 * ux, 5 - 6 * uy];
      const found = shapes.along(x, y, ux, uy, 12);
      for (let n = 0; n < 200; n++) {
        const at = (n + 0.5) * 0.06;
        const inside = polygons.some((p) => windingNumber(p, x + ux * at, y + uy * at) !== 0);
        const near = found.some(([a, b]) => Math.abs(at - a) < 1e-6 || Math.abs(at - b) < 1e-6);
        if (!near) expect(found.some(([a, b]) => at > a && at < b)).toBe(inside);
      }
    }
  });
});

describe('where profiles are laid', () => {
  const grid = { origin_um: [0, 40], pixel_um: 0.1, width_px: 400, height_px: 400 } as const;
  const plan = {
    reachPx: 40,
    linesPx: 9,
    marginPx: 2,
    most: 200,
    mostPerWidth: 200,
    seed: 1,
    hasData: () => true,
  };

  it('only at true edges of straight shapes, one direction for each line, never at a seam of abutting shapes', () => {
    // A line of two abutting pieces, and a wide plate.
    const shapes = new DrawnShapes([box(10, 5, 10.5, 20), box(10.5, 5, 11, 20), box(20, 5, 32, 35)]);
    const sites = chooseSites(shapes, grid, plan);
    expect(sites.length).toBeGreaterThan(20);
    for (const site of sites) {
      const [from, to] = site.drawnPx[site.own]!;
      expect(from).toBeCloseTo(40, 6);
      if (isLine(site)) {
        expect(to - from).toBeCloseTo(10, 6);
        expect(site.direction[0]).toBeCloseTo(1, 12);
        expect(site.direction[1]).toBeCloseTo(0, 12);
      }
    }
    expect(sites.some((s) => isLine(s))).toBe(true);
    expect(sites.some((s) => !isLine(s))).toBe(true);
  });

  it('not where a jog, an end or a crossing lies within the band', () => {
    const comb = [box(10, 5, 11, 20), ...Array.from({ length: 15 }, (_, n) => box(11, 5 + n, 12, 5.5 + n))];
    for (const site of chooseSites(new DrawnShapes(comb), grid, plan)) {
      const [x, y] = site.startUm;
      // Left side of the spine only: the right side is all teeth.
      expect(site.direction[0] * (10 - x)).toBeGreaterThan(0);
      expect(y).toBeGreaterThan(5.5);
      expect(y).toBeLessThan(19.5);
    }
  });
});
