/**
 * Where the drawing repeats what the scan shows: the part of the drawing under the field, correlated with its surroundings.
 * The places that look alike, and the steps of the lattice they stand on.
 */
import { type Affine3, apply3, invert3 } from '../../../../shared/affine.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { SquareSpectra } from '../../../kernels/square-spectra.ts';
import { type DrawnStack, layerPictures } from './drawing.ts';
import { middleOf } from './places.ts';
import type { WorkVolume } from './work-volume.ts';

/** A shift by which the drawing under the field looks like itself. */
export interface Repeat {
  readonly stepUm: readonly [number, number];
  /** Normalised correlation of all layers together. */
  readonly likeness: number;
}

export interface Repeats {
  /** Likest first. */
  readonly places: readonly Repeat[];
  /** One or two steps that lead from each place to the next; none where the places stand on no lattice. */
  readonly latticeUm: readonly (readonly [number, number])[];
}

/** Pixels of the window around the field, and of the field in it. */
const SIDE = 512;
const FIELD_PX = 170;
/** Likeness from which two places in the drawing could be taken for each other. */
const ALIKE = 0.8;
/** Likeness of two places that stand on one lattice, and how far it must fall between them. */
const LATTICE = 0.88;
const DIP = 0.75;
/** Sine of the least angle between two steps. */
const APART = 0.3;
const MOST_PLACES = 24;

/** @param layers names of the layers that the scan covers */
export async function findRepeats(
  work: WorkVolume,
  workToDie: Affine3,
  stack: DrawnStack,
  layers: ReadonlySet<string>,
): Promise<Repeats> {
  const field = Math.max(work.nx * work.voxelUm[0], work.ny * work.voxelUm[1]);
  const pixel = Math.max(work.voxelUm[0], field / FIELD_PX);
  const middle = middleOf(work, workToDie);
  const half = ((SIDE - 1) / 2) * pixel;
  const grid: PlateGrid = {
    origin_um: [middle[0] - half, middle[1] + half],
    pixel_um: pixel,
    width_px: SIDE,
    height_px: SIDE,
  };
  const shown = { ...stack, layers: stack.layers.filter((layer) => layers.has(layer.name)) };
  const pictures = layerPictures(shown, grid, work.slowUm).map((p) => p.picture);
  if (pictures.length === 0) return { places: [], latticeUm: [] };
  const likeness = await selfLikeness(pictures, fieldMask(work, workToDie, grid, middle[2]));
  const peaks = peaksOf(likeness).map(({ u, v, value }) => ({
    stepUm: [u * pixel, -v * pixel] as const,
    likeness: value,
  }));
  return { places: peaks.slice(0, MOST_PLACES), latticeUm: latticeOf(peaks, likeness, pixel) };
}

/** 1 where the scan's middle slice holds data. */
function fieldMask(work: WorkVolume, workToDie: Affine3, grid: PlateGrid, z: number): Float32Array {
  const back = invert3(workToDie);
  const mask = new Float32Array(SIDE * SIDE);
  for (let row = 0; row < SIDE; row++)
    for (let column = 0; column < SIDE; column++) {
      const x = grid.origin_um[0] + column * grid.pixel_um;
      const y = grid.origin_um[1] - row * grid.pixel_um;
      const [i, j] = apply3(back, [x, y, z]).map(Math.round) as [number, number, number];
      if (i >= 0 && j >= 0 && i < work.nx && j < work.ny)
        mask[row * SIDE + column] = work.weight[j * work.nx + i]!;
    }
  return mask;
}

/**
 * Normalised correlation of the masked pictures with themselves for every shift that keeps the field in the window; row 0
 * and column 0 of the answer are no shift, negative shifts wrap round; NaN where the field would leave the window.
 */
async function selfLikeness(pictures: readonly Float32Array[], mask: Float32Array): Promise<Float64Array> {
  const fft = await SquareSpectra.open(SIDE);
  try {
    const [product, power, here, there] = [fft.slot(), fft.slot(), fft.slot(), fft.slot()];
    fft.pairs(product).fill(0);
    fft.pairs(power).fill(0);
    const squares = new Float32Array(SIDE * SIDE);
    let own = 0;
    for (const picture of pictures) {
      write(fft.pairs(there), picture, false);
      const field = picture.map((value, n) => value * mask[n]!);
      write(fft.pairs(here), field, true);
      for (let n = 0; n < field.length; n++) {
        own += field[n]! ** 2;
        squares[n]! += picture[n]! ** 2;
      }
      fft.forward(there);
      fft.forward(here);
      fft.multiplyAdd(here, there, product, 1);
    }
    write(fft.pairs(there), squares, false);
    write(fft.pairs(here), mask, true);
    fft.forward(there);
    fft.forward(here);
    fft.multiplyAdd(here, there, power, 1);
    fft.inverse(product);
    fft.inverse(power);
    const scale = 1 / (SIDE * SIDE);
    const [p, q] = [fft.pairs(product), fft.pairs(power)];
    const reach = reachOf(mask);
    return Float64Array.from({ length: SIDE * SIDE }, (_, n) => {
      const [u, v] = [wrapped(n % SIDE), wrapped(Math.floor(n / SIDE))];
      const inside = u >= -reach.left && u <= reach.right && v >= -reach.above && v <= reach.below;
      const energy = scale * q[2 * n]!;
      return inside && energy > 0.05 * own ? (scale * p[2 * n]!) / Math.sqrt(own * energy) : Number.NaN;
    });
  } finally {
    fft.close();
  }
}

const wrapped = (n: number): number => (n < SIDE / 2 ? n : n - SIDE);

/** Turned about pixel 0 where it is to be correlated, since the product of spectra convolves. */
function write(pairs: Float32Array, values: Float32Array, turned: boolean): void {
  pairs.fill(0);
  for (let row = 0; row < SIDE; row++)
    for (let column = 0; column < SIDE; column++) {
      const to = turned ? ((SIDE - row) % SIDE) * SIDE + ((SIDE - column) % SIDE) : row * SIDE + column;
      pairs[2 * to] = values[row * SIDE + column]!;
    }
}

/** How far the field can be shifted inside the window. */
function reachOf(mask: Float32Array): { left: number; right: number; above: number; below: number } {
  let [x0, y0, x1, y1] = [SIDE, SIDE, 0, 0];
  for (let n = 0; n < mask.length; n++) {
    if (mask[n] === 0) continue;
    const [x, y] = [n % SIDE, Math.floor(n / SIDE)];
    x0 = Math.min(x0, x);
    x1 = Math.max(x1, x);
    y0 = Math.min(y0, y);
    y1 = Math.max(y1, y);
  }
  return { left: x0, right: SIDE - 1 - x1, above: y0, below: SIDE - 1 - y1 };
}

const atShift = (likeness: Float64Array, u: number, v: number): number =>
  likeness[((v + SIDE) % SIDE) * SIDE + ((u + SIDE) % SIDE)] ?? Number.NaN;

/** Likeness by linear interpolation; NaN where it is not known. */
function likenessAt(likeness: Float64Array, u: number, v: number): number {
  const [u0, v0] = [Math.floor(u), Math.floor(v)];
  const at = (a: number, b: number): number => atShift(likeness, a, b);
  const [p, q] = [u - u0, v - v0];
  return (
    (at(u0, v0) * (1 - p) + at(u0 + 1, v0) * p) * (1 - q) +
    (at(u0, v0 + 1) * (1 - p) + at(u0 + 1, v0 + 1) * p) * q
  );
}

/** Least likeness on the straight way to a shift, from no shift or another one. */
function dipOn(
  likeness: Float64Array,
  u: number,
  v: number,
  from: readonly [number, number] = [0, 0],
): number {
  const [du, dv] = [u - from[0], v - from[1]];
  const steps = Math.max(2, Math.ceil(Math.hypot(du, dv)));
  let least = 1;
  for (let n = 1; n < steps; n++) {
    const value = likenessAt(likeness, from[0] + (du * n) / steps, from[1] + (dv * n) / steps);
    if (value < least) least = value;
  }
  return least;
}

/** Peaks away from no shift, to a fraction of a pixel, likest first. A ridge without a dip is no repeat. */
function peaksOf(likeness: Float64Array): { u: number; v: number; value: number }[] {
  const at = (u: number, v: number): number => atShift(likeness, u, v);
  const peaks: { u: number; v: number; value: number }[] = [];
  for (let v = 1 - SIDE / 2; v < SIDE / 2 - 1; v++)
    for (let u = 1 - SIDE / 2; u < SIDE / 2 - 1; u++) {
      const value = at(u, v);
      if (!(value >= ALIKE) || (Math.abs(u) < 2 && Math.abs(v) < 2)) continue;
      let highest = true;
      for (let b = -1; b <= 1 && highest; b++)
        for (let a = -1; a <= 1; a++) if (at(u + a, v + b) > value) highest = false;
      if (!highest) continue;
      const du = vertex(at(u - 1, v), value, at(u + 1, v));
      const dv = vertex(at(u, v - 1), value, at(u, v + 1));
      if (dipOn(likeness, u + du, v + dv) < DIP * value) peaks.push({ u: u + du, v: v + dv, value });
    }
  return peaks.sort((p, q) => q.value - p.value);
}

function vertex(low: number, middle: number, high: number): number {
  const curve = low + high - 2 * middle;
  return curve < 0 ? Math.max(-0.5, Math.min(0.5, (low - high) / (2 * curve))) : 0;
}

/**
 * The shortest step, and the shortest one in another direction. Each is then divided out of the farthest place in its row,
 * which makes it as many times more exact.
 */
function latticeOf(
  peaks: readonly Repeat[],
  likeness: Float64Array,
  pixel: number,
): readonly (readonly [number, number])[] {
  const length = ([x, y]: readonly [number, number]): number => Math.hypot(x, y);
  const on = peaks
    .filter((p) => p.likeness >= LATTICE)
    .map((p) => p.stepUm)
    .filter(([x, y]) => x > 0.5 * pixel || (Math.abs(x) <= 0.5 * pixel && y > 0))
    .sort((p, q) => length(p) - length(q));
  const first = on[0];
  if (!first) return [];
  const second = on.find((step) => {
    const turn = first[0] * step[1] - first[1] * step[0];
    if (Math.abs(turn) <= APART * length(first) * length(step)) return false;
    // Along lines that run through, every place looks alike without a step.
    const times = Math.round((step[0] * first[0] + step[1] * first[1]) / length(first) ** 2);
    const from = [(times * first[0]) / pixel, (-times * first[1]) / pixel] as const;
    return dipOn(likeness, step[0] / pixel, -step[1] / pixel, from) < DIP;
  });
  const exact = (step: readonly [number, number]): readonly [number, number] => {
    let found = step;
    for (let n = 2; ; n++) {
      const [x, y] = [n * found[0], n * found[1]];
      const next = peaks.find((p) => Math.hypot(p.stepUm[0] - x, p.stepUm[1] - y) < 1.5 * pixel);
      if (!next || next.likeness < LATTICE) break;
      found = [next.stepUm[0] / n, next.stepUm[1] / n];
    }
    return found;
  };
  return (second ? [first, second] : [first]).map(exact);
}

/** A step in the plane of the die, micrometres, as a map. */
export const shifted = ([x, y]: readonly [number, number]): Affine3 => [
  [1, 0, 0, x],
  [0, 1, 0, y],
  [0, 0, 1, 0],
];
