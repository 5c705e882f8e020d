/** The brick: planes against means taken pixel by pixel, sheets against what sharp reads back. */
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { brickPlane, planBrick } from '../../../pipeline/stages/plate/brick-plan.ts';
import { BrickWriter } from '../../../pipeline/stages/plate/brick-writer.ts';
import { brickSchema } from '../../../shared/artefacts/brick.ts';
import { brickGrid, cellOfPlane, planeCount, planeOfPlate } from '../../../shared/brick.ts';
import { dieFromPixel } from '../../../shared/frames.ts';
import { generator } from '../../fixtures/random.ts';

const window = { black: 0, white: 255 };
const grid = { origin_um: [12, 40], pixel_um: 0.05, width_px: 601, height_px: 407 } as const;

describe('plan of the brick', () => {
  it('keeps the longer side at 256 pixels or fewer, by whole factors', () => {
    const plan = planBrick(grid, [window]);
    // 601 / 256 = 2.3, so three pixels by three: 200.3 and 135.7, rounded up.
    expect(plan).toMatchObject({ factor: 3, columns: 201, rows: 136, every: 1 });
    expect(planBrick({ ...grid, width_px: 200, height_px: 256 }, [window]).factor).toBe(1);
  });

  it('bounds the planes: 1000 plates become every third', () => {
    const plan = planBrick(grid, new Array(1000).fill(window));
    expect(plan.every).toBe(3);
    expect(planeCount({ plates: 1000, every: plan.every })).toBe(334);
    expect(planeOfPlate({ plates: 1000, every: 3 }, 4)).toBe(1);
    expect(planeOfPlate({ plates: 1000, every: 3 }, 999)).toBe(333);
  });

  it('takes one window for all plates, without that of a slice gone wrong', () => {
    const windows = [
      { black: -1, white: 4 },
      { black: 0, white: 9 },
      { black: 0, white: 5 },
      { black: -4000, white: 9000 },
    ];
    expect(planBrick(grid, windows).grey).toEqual({ black: -1, white: 9 });
  });
});

describe('a plane', () => {
  const random = generator(5);
  const values = Float32Array.from({ length: grid.width_px * grid.height_px }, () =>
    random() < 0.3 ? Number.NaN : 255 * random(),
  );
  const plan = planBrick(grid, [window]);
  const plane = brickPlane(values, grid, plan);

  it('holds the mean of the pixels with data, and nothing where less than half have any', () => {
    let bare = 0;
    let worst = 0;
    const wrong: number[] = [];
    for (let row = 0; row < plan.rows; row++) {
      for (let column = 0; column < plan.columns; column++) {
        const square: number[] = [];
        for (let y = 3 * row; y < Math.min(407, 3 * row + 3); y++)
          for (let x = 3 * column; x < Math.min(601, 3 * column + 3); x++) square.push(values[y * 601 + x]!);
        const data = square.filter((value) => !Number.isNaN(value));
        const at = 2 * (row * plan.columns + column);
        if (data.length < square.length / 2) {
          bare++;
          if (plane[at + 1] !== 0) wrong.push(at);
        } else {
          const mean = data.reduce((sum, value) => sum + value, 0) / data.length;
          if (plane[at + 1] !== 255) wrong.push(at);
          worst = Math.max(worst, Math.abs(plane[at]! - mean));
        }
      }
    }
    expect(wrong).toEqual([]);
    // Half a grey from rounding, and the single precision of the values.
    expect(worst).toBeLessThanOrEqual(0.5001);
    expect(bare).toBeGreaterThan(100);
  });
});

describe('sheets', () => {
  let folder: string;
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'brick-'));
  });
  afterAll(() => rm(folder, { recursive: true, force: true }));

  it('come out whole whatever the order of the planes, each grey in its place', async () => {
    const zUm = Array.from({ length: 21 }, (_, n) => 0.1 * n);
    const plan = planBrick(
      grid,
      zUm.map(() => window),
    );
    const writer = new BrickWriter(plan, grid, { stepUm: 0.1, zUm }, folder);
    const plane = (n: number) => {
      const values = new Float32Array(grid.width_px * grid.height_px).fill(10 + 11 * n);
      // The left third is out of the field of view.
      for (let k = 0; k < values.length; k++) if (k % 601 < 201) values[k] = Number.NaN;
      return { plane: n, bytes: brickPlane(values, grid, plan) };
    };
    for (const n of [20, 3, 17, 0, 16, 19, 18]) await writer.add([plane(n)]);
    expect(() => writer.finish()).toThrow();
    await writer.add([1, 2, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15].map(plane));
    const brick = brickSchema.parse(writer.finish());
    expect(brick.sheets).toEqual([
      { file: 'brick/0000.webp', first: 0, count: 16 },
      { file: 'brick/0001.webp', first: 16, count: 5 },
    ]);
    // The first pixel takes nine pixels together; their middle is pixel (1, 1) of the grid.
    expect(dieFromPixel(brickGrid(brick), 0, 0)).toEqual(dieFromPixel(grid, 1, 1));
    for (const n of zUm.keys()) {
      const { sheet, x, y } = cellOfPlane(brick, n)!;
      const { data, info } = await sharp(join(folder, brick.sheets[sheet]!.file))
        .raw()
        .toBuffer({ resolveWithObject: true });
      expect([info.width, info.height]).toEqual([4 * plan.columns, 4 * plan.rows]);
      const at = (column: number, row: number) => {
        const from = info.channels * ((y + row) * info.width + x + column);
        return [data[from]!, data[from + info.channels - 1]!];
      };
      expect(at(30, 60)[1]).toBe(0);
      const [grey, opacity] = at(140, 70);
      expect(opacity).toBe(255);
      expect(Math.abs(grey! - (10 + 11 * n))).toBeLessThanOrEqual(2);
    }
    expect(cellOfPlane(brick, 21)).toBeNull();
  });
});
