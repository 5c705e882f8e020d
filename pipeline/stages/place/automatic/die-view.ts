/** The scan seen in the die frame through a map, layer by layer, beside the drawing of each layer. */
import { type Affine3, apply3 } from '../../../../shared/affine.ts';
import type { Warp } from '../../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { warpOnGrid } from '../../../kernels/warp-on-grid.ts';
import { type DrawnStack, type LayerPicture, layerPictures } from './drawing.ts';
import { type FrameGrid, resampleFrame } from './frame-volume.ts';
import { cropPicture, type LayoutPictures } from './layout-pictures.ts';
import type { WorkVolume } from './work-volume.ts';

export interface DieGrid {
  readonly plate: PlateGrid;
  readonly frame: FrameGrid;
  readonly pictures: readonly LayerPicture[];
}

export interface DieView {
  readonly grid: DieGrid;
  /** Sums over heights from the bottom: (count + 1) pictures. */
  readonly sums: Float32Array;
  /** 1 inside the field of view. */
  readonly weight: Float32Array;
  /** First and last height that lies in the scan in the middle of the field; last before first where none does. */
  readonly range: readonly [number, number];
  /** Layers that the scan covers at least half of. */
  readonly layers: readonly LayerView[];
}

export interface LayerView extends LayerPicture {
  /** Middle height of the layer, and half of the thickness that is averaged. */
  readonly middleUm: number;
  readonly halfUm: number;
  /** Scan averaged over the layer, unit spread inside the field. */
  readonly slab: Float32Array;
  /** What the average was divided by. */
  readonly spread: number;
}

/** Heights this near a layer's faces are left to its neighbours, as a share of the thickness. */
const FACE_SHARE = 0.12;
/** Heights need not be finer than this share of a pixel. */
const STEP_PER_PIXEL = 0.8;
/** Room above and below the scan so that it can be shifted, micrometres. */
const ROOM_UM = 0.5;

/** A pixel of the grid that all pictures are cut out of. */
export type SnapUm = readonly [number, number];

/** The pixel nearest to a place, of a grid that is given by one of its pixels. */
export const snapping =
  (snapUm: SnapUm | null, pixelUm: number): Drawing['snap'] =>
  (x, y) =>
    snapUm
      ? [
          snapUm[0] + Math.round((x - snapUm[0]) / pixelUm) * pixelUm,
          snapUm[1] - Math.round((snapUm[1] - y) / pixelUm) * pixelUm,
        ]
      : [x, y];

/** Where the drawing's pictures come from, and on which grid. */
export interface Drawing {
  readonly pixelUm: number;
  /** Where pixels of the grid lie; null where they may lie anywhere. */
  readonly snapUm: SnapUm | null;
  /** The origin of a grid whose upper left pixel lies about here. */
  readonly snap: (x: number, y: number) => readonly [number, number];
  readonly pictures: (plate: PlateGrid) => readonly LayerPicture[];
}

/** As `Drawing`, where another thread makes the pictures. */
export interface AskedDrawing extends Omit<Drawing, 'pictures'> {
  readonly pictures: (plate: PlateGrid) => Promise<readonly LayerPicture[]>;
}

/** Drawn anew for every grid: exact. */
export const exactDrawing = (stack: DrawnStack, pixelUm: number, slowUm: number): Drawing => ({
  pixelUm,
  snapUm: null,
  snap: snapping(null, pixelUm),
  pictures: (plate) => layerPictures(stack, plate, slowUm),
});

/** Cut out of pictures of the whole layout: quick. */
export function cutDrawing({ grid, layers }: LayoutPictures): Drawing {
  const { origin_um: origin, pixel_um: pixelUm } = grid;
  const place = (x: number, y: number): [number, number] => [
    Math.round((x - origin[0]) / pixelUm),
    Math.round((origin[1] - y) / pixelUm),
  ];
  return {
    pixelUm,
    snapUm: origin,
    snap: snapping(origin, pixelUm),
    pictures: (plate) => {
      const [column, row] = place(...plate.origin_um);
      return layers.map((layer) => ({
        ...layer,
        picture: cropPicture(layer.picture, grid, column, row, plate.width_px, plate.height_px),
      }));
    },
  };
}

/** The grid that holds the whole field of a map, and the drawing on it. */
export function dieGrid(work: WorkVolume, workToDie: Affine3, drawing: Drawing): DieGrid {
  const at = gridsOf(work, workToDie, drawing);
  return { ...at, pictures: drawing.pictures(at.plate) };
}

/** As `dieGrid`, whoever makes the pictures. */
export async function askedGrid(
  work: WorkVolume,
  workToDie: Affine3,
  drawing: Drawing | AskedDrawing,
): Promise<DieGrid> {
  const at = gridsOf(work, workToDie, drawing);
  return { ...at, pictures: await drawing.pictures(at.plate) };
}

function gridsOf(
  work: WorkVolume,
  workToDie: Affine3,
  drawing: Pick<Drawing, 'pixelUm' | 'snap'>,
): Omit<DieGrid, 'pictures'> {
  const corners = [0, work.nx - 1].flatMap((i) =>
    [0, work.ny - 1].flatMap((j) => [0, work.nz - 1].map((k) => apply3(workToDie, [i, j, k]))),
  );
  const range = (axis: 0 | 1 | 2): [number, number] => [
    Math.min(...corners.map((c) => c[axis])),
    Math.max(...corners.map((c) => c[axis])),
  ];
  const [[x0, x1], [y0, y1], [z0, z1]] = [range(0), range(1), range(2)];
  const pixel = drawing.pixelUm;
  const step = Math.max(work.voxelUm[2], STEP_PER_PIXEL * pixel);
  const [left, top] = drawing.snap(x0, y1);
  const frame: FrameGrid = {
    ...{ left, top, pixel, bottom: z0 - ROOM_UM, step },
    width: Math.ceil((x1 - left) / pixel) + 1,
    height: Math.ceil((top - y0) / pixel) + 1,
    count: Math.ceil((z1 - z0 + 2 * ROOM_UM) / step) + 1,
  };
  const plate: PlateGrid = {
    origin_um: [left, top],
    pixel_um: pixel,
    width_px: frame.width,
    height_px: frame.height,
  };
  return { plate, frame };
}

export function dieView(
  work: WorkVolume,
  workToDie: Affine3,
  grid: DieGrid,
  warp: Warp | null = null,
): DieView {
  const { frame } = grid;
  const volume = resampleFrame(work, workToDie, frame, warp && warpOnGrid(warp, grid.plate), true);
  const sums = volume.values;
  const first = volume.inside.indexOf(1);
  const last = volume.inside.lastIndexOf(1);
  const low = frame.bottom + (first - 0.5) * frame.step;
  const high = frame.bottom + (last + 0.5) * frame.step;
  const layers: LayerView[] = [];
  for (const drawn of grid.pictures) {
    const { bottom_um: bottom, thickness_um: thickness } = drawn.layer;
    const from = Math.max(low, bottom + FACE_SHARE * thickness);
    const to = Math.min(high, bottom + (1 - FACE_SHARE) * thickness);
    if (first < 0 || to - from < 0.4 * thickness) continue;
    const middleUm = (from + to) / 2;
    const halfUm = Math.max((to - from) / 2, frame.step / 2);
    const slab = slabAt(sums, frame, middleUm, halfUm);
    const spread = toUnitSpread(slab, volume.weight);
    if (spread > 0) layers.push({ ...drawn, middleUm, halfUm, slab, spread });
  }
  return { grid, sums, weight: volume.weight, range: [Math.max(0, first), last], layers };
}

/** Mean of the scan between two heights. */
export function slabAt(sums: Float32Array, frame: FrameGrid, middleUm: number, halfUm: number): Float32Array {
  const area = frame.width * frame.height;
  const place = (z: number): number =>
    Math.min(frame.count, Math.max(0, (z - frame.bottom) / frame.step + 0.5));
  const from = place(middleUm - halfUm);
  const to = place(middleUm + halfUm);
  const out = new Float32Array(area);
  if (to <= from) return out;
  const [f0, t0] = [Math.min(frame.count - 1, Math.floor(from)), Math.min(frame.count - 1, Math.floor(to))];
  const [fu, tu] = [from - f0, to - t0];
  const factor = 1 / (to - from);
  for (let p = 0; p < area; p++) {
    const start = sums[f0 * area + p]! * (1 - fu) + sums[(f0 + 1) * area + p]! * fu;
    const end = sums[t0 * area + p]! * (1 - tu) + sums[(t0 + 1) * area + p]! * tu;
    out[p] = factor * (end - start);
  }
  return out;
}

function toUnitSpread(slab: Float32Array, weight: Float32Array): number {
  let sum = 0;
  let squares = 0;
  let count = 0;
  for (let p = 0; p < slab.length; p++) {
    if (weight[p] === 0) continue;
    sum += slab[p]!;
    squares += slab[p]! ** 2;
    count++;
  }
  if (count === 0) return 0;
  const mean = sum / count;
  const spread = Math.sqrt(Math.max(0, squares / count - mean * mean));
  if (!(spread > 1e-6)) return 0;
  for (let p = 0; p < slab.length; p++) slab[p] = weight[p] === 0 ? 0 : (slab[p]! - mean) / spread;
  return spread;
}
