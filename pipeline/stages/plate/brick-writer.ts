/** Sheets of the brick, each written as soon as all of its planes are there. */
import { mkdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import sharp from 'sharp';
import type { Brick } from '../../../shared/artefacts/brick.ts';
import { planeCount } from '../../../shared/brick.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { diskFault } from '../../output/files.ts';
import { type BrickPlan, brickOrigin } from './brick-plan.ts';
import type { BrickPlane } from './plate-task.ts';

/** Cells of a sheet: few enough that the first one is there soon. */
const TILE = { columns: 4, rows: 4 } as const;
/** Planes are means of many pixels with little noise left; the opacity is lossless. */
const WEBP = { quality: 84, alphaQuality: 100, effort: 2 } as const;

export interface BrickHeights {
  readonly stepUm: number;
  readonly zUm: readonly number[];
}

export class BrickWriter {
  readonly #plan: BrickPlan;
  readonly #grid: PlateGrid;
  readonly #heights: BrickHeights;
  readonly #folder: string;
  readonly #planes: number;
  /** Sheets under way: their bytes and how many planes are in them. */
  readonly #open = new Map<number, { bytes: Uint8Array; held: number }>();
  readonly #written = new Set<number>();

  /** @param folder where the scan's data go */
  constructor(plan: BrickPlan, grid: PlateGrid, heights: BrickHeights, folder: string) {
    this.#plan = plan;
    this.#grid = grid;
    this.#heights = heights;
    this.#folder = folder;
    this.#planes = planeCount({ plates: heights.zUm.length, every: plan.every });
  }

  /** @throws InputFault when the disk refuses */
  async add(planes: readonly BrickPlane[]): Promise<void> {
    const perSheet = TILE.columns * TILE.rows;
    const { columns, rows } = this.#plan;
    const full: number[] = [];
    for (const { plane, bytes } of planes) {
      const number = Math.floor(plane / perSheet);
      let sheet = this.#open.get(number);
      if (!sheet) {
        sheet = { bytes: new Uint8Array(2 * perSheet * columns * rows), held: 0 };
        this.#open.set(number, sheet);
      }
      const cell = plane - number * perSheet;
      const left = (cell % TILE.columns) * columns;
      const top = Math.floor(cell / TILE.columns) * rows;
      for (let row = 0; row < rows; row++) {
        const at = 2 * ((top + row) * TILE.columns * columns + left);
        sheet.bytes.set(bytes.subarray(2 * row * columns, 2 * (row + 1) * columns), at);
      }
      sheet.held++;
      if (sheet.held === this.#count(number)) full.push(number);
    }
    for (const number of full) await this.#write(number);
  }

  /** What brick.json says; every plane must have been added. */
  finish(): Brick {
    const perSheet = TILE.columns * TILE.rows;
    const count = Math.ceil(this.#planes / perSheet);
    if (this.#written.size !== count) throw new Error('The brick is finished before all of its planes came.');
    const { every, columns, rows, factor, grey } = this.#plan;
    return {
      version: 1,
      columns,
      rows,
      plates: this.#heights.zUm.length,
      every,
      pixel_um: factor * this.#grid.pixel_um,
      origin_um: brickOrigin(this.#grid, factor),
      step_um: this.#heights.stepUm,
      z_um: [...this.#heights.zUm],
      grey: { ...grey },
      tile: { ...TILE },
      sheets: Array.from({ length: count }, (_, n) => ({
        file: sheetFile(n),
        first: n * perSheet,
        count: this.#count(n),
      })),
    };
  }

  #count(sheet: number): number {
    const perSheet = TILE.columns * TILE.rows;
    return Math.min(perSheet, this.#planes - sheet * perSheet);
  }

  async #write(number: number): Promise<void> {
    const { bytes } = this.#open.get(number)!;
    this.#open.delete(number);
    const width = TILE.columns * this.#plan.columns;
    const height = TILE.rows * this.#plan.rows;
    const path = join(this.#folder, sheetFile(number));
    try {
      await mkdir(dirname(path), { recursive: true });
      await sharp(bytes, { raw: { width, height, channels: 2 } })
        .webp(WEBP)
        .toFile(path);
    } catch (error) {
      throw diskFault(error, path);
    }
    this.#written.add(number);
  }
}

const sheetFile = (number: number): string => `brick/${String(number).padStart(4, '0')}.webp`;
