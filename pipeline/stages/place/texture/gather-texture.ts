/**
 * What slices show without a drawing: how alike they are, in which direction their edges run, whether they are sparse
 * spots or dense wires. Everything in sums over blocks of the field, so that a tilt can be taken out afterwards.
 */
import type { ScanSlices } from '../heights/levelled-plates.ts';
import { LocalMean } from '../heights/local-mean.ts';

export interface BlockTexture {
  /** Middle of the block, voxels from the middle of the field. */
  readonly at: readonly [number, number];
  readonly pixels: number;
  /** Inner products of slices k and k + lag, [k * lags + lag]. */
  readonly products: Float64Array;
  /** Sums of products of gradients of slice k with those of the next: xx, xy, yy. */
  readonly tensor: Float64Array;
  /** Sums of squares and cubes of slice k, smoothed. */
  readonly moments: Float64Array;
}

export interface Texture {
  /** Bins of slices, in the order of the file. */
  readonly nz: number;
  readonly lags: number;
  readonly blocks: readonly BlockTexture[];
}

const BLOCKS = 4;
const RADIUS_VOXELS = 8;
/** Sides above this are reduced. */
const MOST_SIDE = 260;

/**
 * Reads every slice once. Broken slices are left out; where all of a bin are, the bin before stands for it.
 * @param bin slices averaged to one
 * @param mostLags bins farther apart than this are not compared
 */
export async function gatherTexture(scan: ScanSlices, bin: number, mostLags: number): Promise<Texture> {
  const factor = Math.max(1, Math.ceil(Math.max(scan.nx, scan.ny) / (2 * MOST_SIDE)) * 2);
  const width = Math.floor(scan.nx / factor);
  const height = Math.floor(scan.ny / factor);
  const nz = Math.floor(scan.nz / bin);
  const lags = Math.max(1, Math.min(mostLags, nz));
  const local = new LocalMean(width, height, Math.max(2, Math.round(RADIUS_VOXELS / factor)));
  const valid = fieldOf(scan, factor, width, height);
  const blockOf = blocksOf(valid, width, height);
  const count = BLOCKS * BLOCKS;
  const blocks = Array.from({ length: count }, (_, g) => {
    let [x, y, pixels] = [0, 0, 0];
    blockOf.forEach((b, n) => {
      if (b !== g) return;
      x += (n % width) * factor;
      y += Math.floor(n / width) * factor;
      pixels++;
    });
    return {
      at: [x / Math.max(1, pixels) - scan.nx / 2, y / Math.max(1, pixels) - scan.ny / 2] as const,
      pixels,
      products: new Float64Array(nz * lags),
      tensor: new Float64Array(nz * 3),
      moments: new Float64Array(nz * 2),
    };
  });
  const broken = new Set(scan.brokenSlices);
  const ring: Float32Array[] = [];
  let last: Float32Array | null = null;
  const raw = new Float32Array(width * height);
  for (let k = 0; k < nz; k++) {
    raw.fill(0);
    let good = 0;
    for (let n = k * bin; n < (k + 1) * bin; n++)
      if (!broken.has(n)) {
        addReduced(scan, await scan.slice(n), factor, width, height, raw);
        good++;
      }
    let detail: Float32Array | null = last;
    if (good > 0 || !last) {
      if (good > 1) for (let n = 0; n < raw.length; n++) raw[n]! /= good;
      detail = new Float32Array(width * height);
      local.subtract(raw, valid, detail);
    }
    ring[k % lags] = detail!;
    last = detail;
    for (let lag = 0; lag < Math.min(lags, k + 1); lag++)
      blockProducts(detail!, ring[(k - lag) % lags]!, blockOf, width, (g, sum) => {
        blocks[g]!.products[(k - lag) * lags + lag]! += sum;
      });
    if (k > 0) addTensor(ring[(k - 1) % lags]!, detail!, blockOf, width, height, blocks, k - 1);
    if (k > 1)
      addMoments(
        [ring[(k - 2) % lags]!, ring[(k - 1) % lags]!, detail!],
        blockOf,
        width,
        height,
        blocks,
        k - 1,
      );
  }
  return { nz, lags, blocks: blocks.filter((block) => block.pixels > 0.3 * meanPixels(blocks)) };
}

const meanPixels = (blocks: readonly { pixels: number }[]): number =>
  blocks.reduce((sum, block) => sum + block.pixels, 0) / blocks.length;

function fieldOf(scan: ScanSlices, factor: number, width: number, height: number): Uint8Array {
  const valid = new Uint8Array(width * height).fill(1);
  if (scan.mask)
    for (let row = 0; row < height; row++)
      for (let column = 0; column < width; column++)
        for (let dj = 0; dj < factor; dj++)
          for (let di = 0; di < factor; di++)
            if (!scan.mask[(row * factor + dj) * scan.nx + column * factor + di])
              valid[row * width + column] = 0;
  return valid;
}

function addReduced(
  scan: ScanSlices,
  slice: ArrayLike<number>,
  factor: number,
  width: number,
  height: number,
  out: Float32Array,
): void {
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++) {
      let sum = 0;
      for (let dj = 0; dj < factor; dj++) {
        const base = (row * factor + dj) * scan.nx + column * factor;
        for (let di = 0; di < factor; di++) sum += slice[base + di]!;
      }
      const mean = sum / (factor * factor);
      if (Number.isFinite(mean)) out[row * width + column]! += mean;
    }
}

function blocksOf(valid: Uint8Array, width: number, height: number): Uint8Array {
  return valid.map((inside, n) => {
    const x = n % width;
    const y = (n - x) / width;
    return inside ? Math.floor((BLOCKS * y) / height) * BLOCKS + Math.floor((BLOCKS * x) / width) : 255;
  });
}

function blockProducts(
  a: Float32Array,
  b: Float32Array,
  blockOf: Uint8Array,
  width: number,
  take: (block: number, sum: number) => void,
): void {
  for (let start = 0; start < a.length; ) {
    const block = blockOf[start]!;
    const rowEnd = start - (start % width) + width;
    let end = start + 1;
    while (end < rowEnd && blockOf[end] === block) end++;
    if (block < 255) {
      let sum = 0;
      for (let n = start; n < end; n++) sum += a[n]! * b[n]!;
      take(block, sum);
    }
    start = end;
  }
}

type Blocks = readonly { readonly tensor: Float64Array; readonly moments: Float64Array }[];

function addTensor(
  a: Float32Array,
  b: Float32Array,
  blockOf: Uint8Array,
  width: number,
  height: number,
  blocks: Blocks,
  k: number,
): void {
  for (let row = 1; row < height - 1; row++)
    for (let column = 1; column < width - 1; column++) {
      const n = row * width + column;
      const block = blockOf[n]!;
      if (block === 255) continue;
      const [ax, ay] = [a[n + 1]! - a[n - 1]!, a[n + width]! - a[n - width]!];
      const [bx, by] = [b[n + 1]! - b[n - 1]!, b[n + width]! - b[n - width]!];
      const { tensor } = blocks[block]!;
      tensor[3 * k]! += ax * bx;
      tensor[3 * k + 1]! += (ax * by + ay * bx) / 2;
      tensor[3 * k + 2]! += ay * by;
    }
}

function addMoments(
  slices: readonly [Float32Array, Float32Array, Float32Array],
  blockOf: Uint8Array,
  width: number,
  height: number,
  blocks: Blocks,
  k: number,
): void {
  const [a, b, c] = slices;
  const at = (n: number): number => a[n]! + b[n]! + c[n]!;
  for (let row = 1; row < height - 1; row++)
    for (let column = 1; column < width - 1; column++) {
      const n = row * width + column;
      const block = blockOf[n]!;
      if (block === 255) continue;
      // Four neighbours and the pixel itself: noise falls, spots of two or three pixels stay.
      const v = (2 * at(n) + at(n - 1) + at(n + 1) + at(n - width) + at(n + width)) / 18;
      const { moments } = blocks[block]!;
      moments[2 * k]! += v * v;
      moments[2 * k + 1]! += v * v * v;
    }
}
