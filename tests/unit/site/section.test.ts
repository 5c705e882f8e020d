/** Sections: a brick whose values are a plane in space is cut exactly; thickness against the closed form. */
import { describe, expect, it } from 'vitest';
import type { Brick } from '../../../shared/artefacts/brick.ts';
import { heightBetween, thicknessAt } from '../../../site/lib/measuring/evaluate-depth.ts';
import {
  cutBrick,
  placeInSection,
  planesOfSheet,
  pointInSection,
  sectionView,
  stretchOf,
} from '../../../site/lib/section.ts';
import { gaussian, normalTable } from '../../fixtures/drawn-raster.ts';

const brick: Brick = {
  ...{ version: 1, columns: 12, rows: 8, plates: 9, every: 2, pixel_um: 0.1, origin_um: [10, 20] },
  ...{
    step_um: 0.05,
    z_um: Array.from({ length: 9 }, (_, n) => 1 + 0.05 * n),
    grey: { black: -1, white: 4.1 },
  },
  ...{ tile: { columns: 2, rows: 3 }, sheets: [{ file: 'brick/0.webp', first: 0, count: 5 }] },
};
/** Grey grows by 3 a column, 5 a row and 10 a plane. */
const greyAt = (c: number, r: number, m: number): number => 20 + 3 * c + 5 * r + 10 * m;

function sheetBytes() {
  const [width, height] = [2 * brick.columns, 3 * brick.rows];
  const data = new Uint8Array(4 * width * height);
  for (let m = 0; m < 5; m++)
    for (let r = 0; r < brick.rows; r++)
      for (let c = 0; c < brick.columns; c++) {
        const at = 4 * ((Math.floor(m / 2) * brick.rows + r) * width + (m % 2) * brick.columns + c);
        // One column of the last plane holds no data.
        data.set([greyAt(c, r, m), 0, 0, m === 4 && c === 11 ? 0 : 255], at);
      }
  return { data, width, height };
}

describe('a section cut from a brick', () => {
  const planes = planesOfSheet(brick, 0, sheetBytes());

  it('is exact where values change evenly in space, between pixels and planes', () => {
    const cut = cutBrick(brick, (m) => planes.get(m) ?? null, [10.05, 19.95], [10.95, 19.45], 10);
    expect(cut.zUm).toHaveLength(5);
    for (const [index, expected] of [1, 1.1, 1.2, 1.3, 1.4].entries())
      expect(cut.zUm[index]).toBeCloseTo(expected, 10);
    for (let m = 0; m < 5; m++)
      for (let at = 0; at < 10; at++) {
        const [c, r] = [0.5 + at, 0.5 + (at * 5) / 9];
        const grey = greyAt(c, r, m);
        expect(cut.values[m * 10 + at]).toBeCloseTo(-1 + (5.1 * grey) / 255, 5);
      }
  });

  it('has no data outside, and where the brick has none', () => {
    const cut = cutBrick(brick, (m) => planes.get(m) ?? null, [10.5, 20.5], [10.5, 19.5], 11);
    expect(cut.values[0]).toBeNaN();
    const edge = cutBrick(brick, (m) => planes.get(m) ?? null, [11.1, 19.9], [11.1, 19.5], 3);
    expect(edge.values[4 * 3]).toBeNaN();
    expect(edge.values[0]).not.toBeNaN();
  });
});

describe('where things lie on a section', () => {
  it('fills the room, or keeps heights and lengths to one scale', () => {
    const size = { width: 800, height: 230 };
    const filled = sectionView(size, 4, [0, 1], false);
    expect(filled.width).toBe(700);
    expect(filled.height).toBe(200);
    expect(stretchOf(filled)).toBeCloseTo(200 / (700 / 4), 10);
    // A path far shorter than the depth is not smeared over the whole room: four times its length, no more.
    const short = sectionView(size, 0.5, [0, 6], false);
    expect(stretchOf(short)).toBeCloseTo(1 / 4, 9);
    expect(short.height).toBe(filled.height);
    const truly = sectionView(size, 4, [0, 1], true);
    expect(stretchOf(truly)).toBeCloseTo(1, 10);
    const [x, y] = placeInSection(truly, 1.3, 0.4);
    expect(pointInSection(truly, x, y)).toEqual([expect.closeTo(1.3, 10), expect.closeTo(0.4, 10)]);
  });
});

describe('a thickness', () => {
  /** Columns through a layer with blurred faces, closed form, with noise. */
  const request = (thickness: number, noise: number, seed: number) => {
    const random = gaussian(seed);
    const [stepUm, bottom, sd] = [0.02, 1.113, 0.03];
    const zUm = Array.from({ length: 50 }, (_, n) => 0.9 + stepUm * n);
    const places = 7;
    const values = new Float64Array(places * zUm.length);
    for (let p = 0; p < places; p++)
      zUm.forEach((z, n) => {
        const share = normalTable((z - bottom) / sd) - normalTable((z - bottom - thickness) / sd);
        values[p * zUm.length + n] = 0.6 + 1.2 * share + noise * random();
      });
    return {
      columns: { values, places, zUm, stepUm, leastNoise: 0.003 },
      ...{ zUm: bottom + thickness / 2, blur: { sd, u: 0.0005 }, relative: 0, resolutionUm: null },
      ...{ span: null, nominalUm: 0.4 },
    };
  };

  it('is that of the closed form, with an interval that holds', () => {
    for (const [thickness, noise] of [
      [0.2, 0],
      [0.4, 0],
      [0.3, 0.1],
    ] as const) {
      const found = thicknessAt(request(thickness, noise, 3));
      if (found.kind === 'refused') throw new Error(found.reason);
      const { value, expanded, drawn } = found.values[0]!;
      expect(Math.abs(value - thickness)).toBeLessThan(Math.max(0.0005, expanded!));
      expect(drawn).toBe(0.4);
      expect(found.values[1]!.value).toBeCloseTo(1.113, noise > 0 ? 1 : 3);
    }
  });

  it('is refused above the layer, with the reason', () => {
    expect(thicknessAt({ ...request(0.3, 0, 1), zUm: 1.7 })).toMatchObject({
      kind: 'refused',
      reason: expect.stringContaining('no two faces were found'),
    });
  });
});

describe('a distance in a section', () => {
  it('is as sure as the scales along and in depth, each with its share', () => {
    // A triangle of 3, 4 and 5 um set without error: 1 % in the plane and 2 % in depth, by hand.
    const found = heightBetween([10, 0, 1], [13, 0, 5], 0, { plane: 0.01, depth: 0.02 }, null);
    const [dz, along, far] = found.values;
    const k = 1.96;
    expect(dz!.value).toBeCloseTo(4, 12);
    expect(dz!.expanded).toBeCloseTo(k * 0.08, 3);
    expect(along!.value).toBeCloseTo(3, 12);
    expect(along!.expanded).toBeCloseTo(k * 0.03, 3);
    expect(far!.value).toBeCloseTo(5, 12);
    // Derivatives 3/5 and 4/5: hypot(0.6 x 0.03, 0.8 x 0.08).
    expect(far!.expanded).toBeCloseTo(k * Math.hypot(0.018, 0.064), 3);
  });
});
