/** Full resolution along a short stretch or a whole line, plate by plate from the tiles. */
import { pixelFromDie } from '../../../shared/frames.ts';
import { plateGrey, platePath } from '../../../shared/plate-path.ts';
import type { Columns } from '../../lib/measuring/evaluate-depth.ts';
import { samplerOf } from '../../lib/measuring/raster.ts';
import { cutRow, type PlanePoint, type Section } from '../../lib/section.ts';
import { type PixelRectangle, TileCrop } from '../tile-crop.ts';
import type { ViewerHost } from '../viewer-host.ts';

const AT_ONCE = 6;
/** Rounding to whole greys, as a share of the window of greys. */
const ROUNDING = 1 / 255 / Math.sqrt(12);

export class PlateColumns {
  readonly #host: ViewerHost;
  readonly #tiles: TileCrop;

  constructor(host: ViewerHost) {
    this.#host = host;
    this.#tiles = new TileCrop(host.root, host.grid);
  }

  /** Tiles that a line needs on one plate. */
  tilesPerPlate(from: PlanePoint, to: PlanePoint): number {
    const side = this.#host.plates.tiles.tile_px;
    const { x, y, width, height } = this.#rectangle(from, to);
    const across = (low: number, size: number) =>
      Math.floor((low + size - 1) / side) - Math.floor(low / side) + 1;
    return across(x, width) * across(y, height);
  }

  #rectangle(from: PlanePoint, to: PlanePoint): PixelRectangle {
    const { grid } = this.#host;
    const [a, b] = [pixelFromDie(grid, ...from), pixelFromDie(grid, ...to)];
    const side = (axis: 0 | 1, most: number): [number, number] => {
      const low = Math.max(0, Math.floor(Math.min(a[axis], b[axis])) - 2);
      const high = Math.min(most - 1, Math.ceil(Math.max(a[axis], b[axis])) + 2);
      return [low, Math.max(1, high - low + 1)];
    };
    const [x, width] = side(0, grid.width_px);
    const [y, height] = side(1, grid.height_px);
    return { x, y, width, height };
  }

  /**
   * Values of the volume along a line on some plates.
   * @param onRow called as each plate has come; true stops the rest
   */
  async read(
    [from, to]: readonly [PlanePoint, PlanePoint],
    plates: readonly number[],
    places: number,
    onRow: (plate: number, row: Float32Array) => boolean,
  ): Promise<void> {
    const { plates: of, grid } = this.#host;
    const rectangle = this.#rectangle(from, to);
    const waiting = [...plates];
    let stopped = false;
    const work = async (): Promise<void> => {
      for (let plate = waiting.shift(); plate !== undefined && !stopped; plate = waiting.shift()) {
        const bytes = await this.#tiles.read(platePath(of.path, plate), of.tiles, rectangle);
        const { black, white } = plateGrey(of.grey, plate);
        const row = new Float32Array(places);
        cutRow(samplerOf(bytes, rectangle.x, rectangle.y), grid, from, to, places, (at, grey) => {
          row[at] = black + ((white - black) * grey) / 255;
        });
        stopped = onRow(plate, row) || stopped;
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, work));
  }

  /** Columns of the volume between two heights, for a thickness. */
  async columns(line: readonly [PlanePoint, PlanePoint], lowUm: number, highUm: number): Promise<Columns> {
    const { plates, grid } = this.#host;
    const chosen = plates.z_um.flatMap((z, n) => (z >= lowUm && z <= highUm ? [n] : []));
    const length = Math.hypot(line[1][0] - line[0][0], line[1][1] - line[0][1]);
    const places = Math.min(257, Math.max(1, Math.round(length / grid.pixel_um) + 1));
    const rows = new Map<number, Float32Array>();
    await this.read(line, chosen, places, (plate, row) => {
      rows.set(plate, row);
      return false;
    });
    const whole: number[] = [];
    for (let at = 0; at < places; at++)
      if (chosen.every((plate) => !Number.isNaN(rows.get(plate)![at]!))) whole.push(at);
    const values = new Float64Array(whole.length * chosen.length);
    whole.forEach((at, line) => {
      chosen.forEach((plate, n) => {
        values[line * chosen.length + n] = rows.get(plate)![at]!;
      });
    });
    const windows = chosen.map((plate) => plateGrey(plates.grey, plate));
    const widest = Math.max(0, ...windows.map(({ black, white }) => Math.abs(white - black)));
    return {
      ...{ values, places: whole.length, zUm: chosen.map((n) => plates.z_um[n]!), stepUm: plates.step_um },
      leastNoise: ROUNDING * widest,
    };
  }

  /** A whole section at full resolution, row by row into one that is already shown. */
  async refine(section: Section, present: number, onRow: (refined: Section) => boolean): Promise<Section> {
    const { plates, grid } = this.#host;
    const length = Math.hypot(section.to[0] - section.from[0], section.to[1] - section.from[1]);
    const places = Math.max(2, Math.round(length / grid.pixel_um) + 1);
    const values = new Float32Array(places * plates.z_um.length);
    // Until its own row has come each height shows the nearest one of the brick.
    for (const [n, z] of plates.z_um.entries()) {
      const near = nearestRow(section.zUm, z);
      for (let at = 0; at < places; at++) {
        const old = Math.round((at / (places - 1)) * (section.places - 1));
        values[n * places + at] = section.values[near * section.places + old]!;
      }
    }
    const refined: Section = { from: section.from, to: section.to, places, zUm: plates.z_um, values };
    const order = plates.z_um.map((_, n) => n).sort((a, b) => Math.abs(a - present) - Math.abs(b - present));
    await this.read([section.from, section.to], order, places, (plate, row) => {
      values.set(row, plate * places);
      return onRow(refined);
    });
    return refined;
  }
}

function nearestRow(zUm: readonly number[], z: number): number {
  let best = 0;
  for (const [n, one] of zUm.entries()) if (Math.abs(one - z) < Math.abs(zUm[best]! - z)) best = n;
  return best;
}
