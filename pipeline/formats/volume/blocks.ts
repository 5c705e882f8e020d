/** Boxes cut along the grid of chunks that a volume is stored in, and put together again. */
import type { VolumeSource, VoxelArray } from '../volume.ts';
import type { Window } from './box.ts';

/** Sides of a chunk along slices, rows, columns. */
export type ChunkSides = readonly number[];

export const countOf = ({ k0, k1, j0, j1, i0, i1 }: Window): number => (k1 - k0) * (j1 - j0) * (i1 - i0);

export const isSame = (a: Window, b: Window): boolean =>
  a.k0 === b.k0 && a.k1 === b.k1 && a.j0 === b.j0 && a.j1 === b.j1 && a.i0 === b.i0 && a.i1 === b.i1;

const down = (at: number, side: number): number => Math.floor(at / side) * side;
const up = (at: number, side: number, end: number): number => Math.min(end, Math.ceil(at / side) * side);

/** The part of a box within each layer of chunks, a layer being as many slices as a chunk is deep. */
export function layersOf(box: Window, depth: number): Window[] {
  const layers: Window[] = [];
  for (let k = box.k0; k < box.k1; ) {
    const end = Math.min(box.k1, down(k, depth) + depth);
    layers.push({ ...box, k0: k, k1: end });
    k = end;
  }
  return layers;
}

/** The box carried on to the whole depth of the chunks that it lies in. */
export const deepened = (box: Window, depth: number, { nz }: VolumeSource['shape']): Window => ({
  ...box,
  k0: down(box.k0, depth),
  k1: up(box.k1, depth, nz),
});

export const isWithin = (a: Window, b: Window): boolean =>
  a.k0 >= b.k0 && a.k1 <= b.k1 && a.j0 >= b.j0 && a.j1 <= b.j1 && a.i0 >= b.i0 && a.i1 <= b.i1;

/**
 * A box cut into blocks of at most `most` voxels, along chunks and not through them: whole layers while they fit, else
 * rows of chunks, else columns; a single chunk may be larger.
 */
export function blocksOf(box: Window, [ck, cj, ci]: ChunkSides, most: number): Window[] {
  if (countOf(box) <= most) return [box];
  const blocks: Window[] = [];
  const perSlice = (box.j1 - box.j0) * (box.i1 - box.i0);
  for (const layer of steps(box.k0, box.k1, ck, most / perSlice)) {
    const slab = { ...box, k0: layer[0], k1: layer[1] };
    const perRow = (slab.k1 - slab.k0) * (box.i1 - box.i0);
    for (const rows of steps(box.j0, box.j1, cj, countOf(slab) <= most ? Infinity : most / perRow)) {
      const band = { ...slab, j0: rows[0], j1: rows[1] };
      const perColumn = (slab.k1 - slab.k0) * (band.j1 - band.j0);
      for (const columns of steps(box.i0, box.i1, ci, countOf(band) <= most ? Infinity : most / perColumn)) {
        blocks.push({ ...band, i0: columns[0], i1: columns[1] });
      }
    }
  }
  return blocks;
}

/** Cuts [from, to) at multiples of `side`, in steps of at most `most` but at least one side. */
function steps(from: number, to: number, side: number, most: number): [number, number][] {
  if (to - from <= most) return [[from, to]];
  const width = Math.max(side, down(most, side));
  const cuts: [number, number][] = [];
  for (let at = from; at < to; ) {
    const end = Math.min(to, down(at, side) + width);
    cuts.push([at, end]);
    at = end;
  }
  return cuts;
}

/** Copies `part` from an array that holds `source` into one that holds `target`, all three in C order. */
export function copyBox(
  from: VoxelArray,
  source: Window,
  part: Window,
  into: VoxelArray,
  target: Window,
): void {
  const width = part.i1 - part.i0;
  const [sourceWidth, targetWidth] = [source.i1 - source.i0, target.i1 - target.i0];
  const [sourceRows, targetRows] = [source.j1 - source.j0, target.j1 - target.j0];
  const isWide = width === sourceWidth && width === targetWidth;
  const run = isWide ? (part.j1 - part.j0) * width : width;
  const at = (k: number, j: number, box: Window, rows: number, boxWidth: number): number =>
    ((k - box.k0) * rows + j - box.j0) * boxWidth + part.i0 - box.i0;
  for (let k = part.k0; k < part.k1; k++) {
    for (let j = part.j0; j < part.j1; j += isWide ? part.j1 - part.j0 : 1) {
      const start = at(k, j, source, sourceRows, sourceWidth);
      into.set(from.subarray(start, start + run), at(k, j, target, targetRows, targetWidth));
    }
  }
}
