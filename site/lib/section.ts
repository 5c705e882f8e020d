/** Vertical sections: a brick of planes cut along a line, and where things lie on the drawing of it. Pure. */
import type { Brick } from '../../shared/artefacts/brick.ts';
import { brickGrid, cellOfPlane, planeCount } from '../../shared/brick.ts';
import { pixelFromDie } from '../../shared/frames.ts';
import { bilinear, type Sampler } from '../../shared/profile/sampler.ts';
import type { Bytes } from './measuring/raster.ts';

export type PlanePoint = readonly [number, number];

/** Values along a line at every height: heights x places, lowest first, NaN where there is no data. */
export interface Section {
  readonly from: PlanePoint;
  readonly to: PlanePoint;
  readonly places: number;
  readonly zUm: readonly number[];
  /** In the unit of the volume. */
  readonly values: Float32Array;
}

/** One plane of a brick, 0 to 255, NaN without data. */
export type Plane = { readonly values: Float32Array };

/** Planes of one sheet from its pixels. */
export function planesOfSheet(brick: Brick, sheet: number, bytes: Bytes): Map<number, Float32Array> {
  const { first, count } = brick.sheets[sheet]!;
  const { columns, rows } = brick;
  const planes = new Map<number, Float32Array>();
  for (let plane = first; plane < first + count; plane++) {
    const { x, y } = cellOfPlane(brick, plane)!;
    const values = new Float32Array(columns * rows);
    for (let r = 0; r < rows; r++)
      for (let c = 0; c < columns; c++) {
        const at = 4 * ((y + r) * bytes.width + x + c);
        values[r * columns + c] = bytes.data[at + 3] === 0 ? Number.NaN : bytes.data[at]!;
      }
    planes.set(plane, values);
  }
  return planes;
}

/** Heights of the planes of a brick. */
export const planeHeights = (brick: Brick): number[] =>
  Array.from(
    { length: planeCount(brick) },
    (_, m) => brick.z_um[Math.min(brick.plates - 1, m * brick.every)]!,
  );

/**
 * Cuts planes along a line.
 * @param plane sampler of plane n in pixels of the brick; null while it is not there
 */
export function cutBrick(
  brick: Brick,
  plane: (n: number) => Float32Array | null,
  from: PlanePoint,
  to: PlanePoint,
  places: number,
): Section {
  const grid = brickGrid(brick);
  const zUm = planeHeights(brick);
  const values = new Float32Array(places * zUm.length).fill(Number.NaN);
  const { black, white } = brick.grey;
  for (let n = 0; n < zUm.length; n++) {
    const data = plane(n);
    if (!data) continue;
    const sample = bilinear({ values: data, width: brick.columns, height: brick.rows });
    cutRow(sample, grid, from, to, places, (at, grey) => {
      values[n * places + at] = black + ((white - black) * grey) / 255;
    });
  }
  return { from, to, places, zUm, values };
}

/** Samples one plane along a line. */
export function cutRow(
  sample: Sampler,
  grid: Parameters<typeof pixelFromDie>[0],
  from: PlanePoint,
  to: PlanePoint,
  places: number,
  put: (place: number, grey: number) => void,
): void {
  for (let at = 0; at < places; at++) {
    const share = places > 1 ? at / (places - 1) : 0.5;
    const [c, r] = pixelFromDie(
      grid,
      from[0] + (to[0] - from[0]) * share,
      from[1] + (to[1] - from[1]) * share,
    );
    put(at, sample(c, r));
  }
}

/** Values shown as black and white: all but a hundredth at either end. */
export function sectionWindow({ values }: Section): { black: number; white: number } {
  const step = Math.max(1, Math.floor(values.length / 20_000));
  const some: number[] = [];
  for (let n = 0; n < values.length; n += step) if (!Number.isNaN(values[n]!)) some.push(values[n]!);
  if (some.length === 0) return { black: 0, white: 1 };
  some.sort((a, b) => a - b);
  const black = some[Math.floor(0.01 * (some.length - 1))]!;
  const white = some[Math.ceil(0.99 * (some.length - 1))]!;
  return white > black ? { black, white } : { black: black - 1, white: white + 1 };
}

/** Where a section lies on its drawing. */
export interface SectionView {
  /** CSS pixels of the picture inside the element. */
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
  readonly lengthUm: number;
  readonly lowUm: number;
  readonly highUm: number;
}

/** Room for heights at the left and lengths below, CSS pixels. */
const ROOM = { left: 56, right: 44, top: 6, bottom: 24 } as const;

/** A short path is drawn no longer than so many times its length beside the heights: beyond that all is a smear. */
const MOST_LENGTHENED = 4;

/** @param trueScale heights and lengths to the same scale; else the room is filled, as far as a short path may be drawn out */
export function sectionView(
  size: { readonly width: number; readonly height: number },
  lengthUm: number,
  [lowUm, highUm]: readonly [number, number],
  trueScale: boolean,
): SectionView {
  const room = {
    width: Math.max(1, size.width - ROOM.left - ROOM.right),
    height: Math.max(1, size.height - ROOM.top - ROOM.bottom),
  };
  const tall = Math.max(1e-9, highUm - lowUm);
  const scale = Math.min(room.width / lengthUm, room.height / tall);
  const drawnOut = (MOST_LENGTHENED * lengthUm * room.height) / tall;
  const width = trueScale ? lengthUm * scale : Math.min(room.width, drawnOut);
  const height = trueScale ? tall * scale : room.height;
  return {
    left: ROOM.left + (room.width - width) / 2,
    top: ROOM.top + (room.height - height) / 2,
    ...{ width, height, lengthUm, lowUm, highUm },
  };
}

export const placeInSection = (view: SectionView, alongUm: number, zUm: number): [number, number] => [
  view.left + (alongUm / view.lengthUm) * view.width,
  view.top + ((view.highUm - zUm) / (view.highUm - view.lowUm)) * view.height,
];

export const pointInSection = (view: SectionView, x: number, y: number): [number, number] => [
  ((x - view.left) / view.width) * view.lengthUm,
  view.highUm - ((y - view.top) / view.height) * (view.highUm - view.lowUm),
];

/** How many times heights are stretched against lengths. */
export const stretchOf = (view: SectionView): number =>
  view.height / (view.highUm - view.lowUm) / (view.width / view.lengthUm);
