/**
 * The search over everything at once: eight orientations, both orders of the slices, every height of the stack, every
 * place of a tile of the drawing. A hypothesis is scored by one normalised correlation of all layers together.
 */
import type { PlateGrid } from '../../../../shared/frames.ts';
import type { Box } from '../../../../shared/polygon.ts';
import { type ComplexPicture, SquareFft } from '../../../kernels/fft.ts';
import { type DrawnStack, type LayerPicture, layerPictures } from './drawing.ts';
import type { FrameVolume } from './frame-volume.ts';
import { type Hypothesis, ORIENTATIONS, type Orientation } from './orientation.ts';

export interface SearchInput {
  /** Coarse bins of the scan: unit spread, 0 outside the field, square or not. */
  readonly volume: FrameVolume;
  readonly stack: DrawnStack;
  /** Where the middle of the scan may lie. */
  readonly centresUm: Box;
  readonly scales: readonly number[];
  readonly signs: readonly (1 | -1)[];
  readonly slowUm: number;
  /** Best score a hypothesis must have in the first round to be tried at other scales, by rank. */
  readonly keep: number;
  readonly side: number;
}

export interface SearchResult {
  /** Best first; several peaks of each hypothesis. */
  readonly found: readonly Hypothesis[];
}

const PEAKS = 4;
/** Peaks of one map lie at least this far apart, micrometres. */
const APART_UM = 0.6;
/** Share of the scan's depth that must lie in the stack for a height to be tried. */
const LEAST_DEPTH = 0.35;

interface Height {
  readonly rising: 1 | -1;
  readonly z: number;
}

export async function search(input: SearchInput, pause: () => Promise<void>): Promise<SearchResult> {
  const fft = new SquareFft(input.side);
  const spectra = binSpectra(fft, input.volume);
  const mask = symmetricMask(input.volume, input.side);
  const found: Hypothesis[] = [];
  for (const [round, scale] of input.scales.entries()) {
    const first = [...found].sort((p, q) => q.score - p.score).slice(0, input.keep);
    const heights =
      round === 0 ? allHeights(input) : uniqueHeights(first.map(({ rising, z }) => ({ rising, z })));
    const tiles = tilesFor(input, scale);
    for (const tile of tiles) {
      const drawing = prepareTile(fft, input, tile, mask);
      if (drawing.pictures.length === 0) continue;
      for (const height of heights) {
        await pause();
        found.push(...tryHeight(fft, input, spectra, drawing, tile, height, scale));
      }
    }
  }
  return { found: found.sort((p, q) => q.score - p.score) };
}

/** Half the thinnest layer that matters, but not finer than a bin of the scan. */
function allHeights(input: SearchInput): Height[] {
  const { grid } = input.volume;
  const { layers } = input.stack;
  const low = Math.min(...layers.map((l) => l.bottom_um));
  const high = Math.max(...layers.map((l) => l.bottom_um + l.thickness_um));
  const depth = grid.count * grid.step;
  const margin = Math.min(depth, high - low) * LEAST_DEPTH;
  const heights: Height[] = [];
  const from = low - depth / 2 + margin;
  const to = high + depth / 2 - margin;
  for (let z = from; z <= to; z += grid.step)
    for (const rising of [1, -1] as const) heights.push({ rising, z });
  return heights;
}

function uniqueHeights(heights: readonly Height[]): Height[] {
  return heights.filter((h, n) => heights.findIndex((o) => o.rising === h.rising && o.z === h.z) === n);
}

interface Tile {
  readonly grid: PlateGrid;
  /** Pixels of the tile that may be the middle of the scan: column and row ranges, half-open. */
  readonly columns: readonly [number, number];
  readonly rows: readonly [number, number];
}

function tilesFor(input: SearchInput, scale: number): Tile[] {
  const { side } = input;
  const { grid } = input.volume;
  const pixel = grid.pixel * scale;
  const half = Math.ceil(Math.max(grid.width, grid.height) / 2) + 1;
  const usable = side - 2 * half;
  if (usable < 1) throw new RangeError('The tile of the search is smaller than the scan.');
  const [x0, y0, x1, y1] = input.centresUm;
  const across = Math.max(1, Math.ceil((x1 - x0) / pixel + 1));
  const down = Math.max(1, Math.ceil((y1 - y0) / pixel + 1));
  const tiles: Tile[] = [];
  for (let row = 0; row < down; row += usable) {
    for (let column = 0; column < across; column += usable) {
      tiles.push({
        grid: {
          origin_um: [x0 + (column - half) * pixel, y1 - (row - half) * pixel],
          pixel_um: pixel,
          width_px: side,
          height_px: side,
        },
        columns: [half, half + Math.min(usable, across - column)],
        rows: [half, half + Math.min(usable, down - row)],
      });
    }
  }
  return tiles;
}

interface Spectrum {
  readonly re: Float32Array;
  readonly im: Float32Array;
}

/** Spectra of the bins with the middle of the scan at pixel (0, 0). */
function binSpectra(fft: SquareFft, volume: FrameVolume): Spectrum[] {
  const { width, height, count } = volume.grid;
  return Array.from({ length: count }, (_, n) => {
    const picture = fft.blank();
    const area = width * height;
    wrapped(volume.values.subarray(n * area, (n + 1) * area), width, height, fft.side, picture.re);
    fft.forward(picture);
    return { re: Float32Array.from(picture.re), im: Float32Array.from(picture.im) };
  });
}

function wrapped(values: Float32Array, width: number, height: number, side: number, out: Float64Array): void {
  const cx = (width - 1) / 2;
  const cy = (height - 1) / 2;
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++)
      out[((row - cy + side) % side) * side + ((column - cx + side) % side)] = values[row * width + column]!;
}

/** Spectrum of the field of view averaged over the eight orientations. */
function symmetricMask(volume: FrameVolume, side: number): ComplexPicture {
  const fft = new SquareFft(side);
  const plain = new Float64Array(side * side);
  wrapped(volume.weight, volume.grid.width, volume.grid.height, side, plain);
  const picture = fft.blank();
  for (const orientation of ORIENTATIONS) {
    const map = permutation(orientation, side);
    for (let n = 0; n < plain.length; n++) picture.re[n]! += plain[map[n]!]! / 8;
  }
  fft.forward(picture);
  return picture;
}

/** For every index of a picture, which index the inverse orientation takes it to; row indices count downwards. */
function permutation([a, b, c, d]: Orientation, side: number): Uint32Array {
  const map = new Uint32Array(side * side);
  for (let row = 0; row < side; row++) {
    for (let column = 0; column < side; column++) {
      // y = -row, and the inverse of an orthogonal matrix is its transpose.
      const x = a * column - c * row;
      const y = b * column - d * row;
      map[row * side + column] = ((-y + 2 * side) % side) * side + ((x + 2 * side) % side);
    }
  }
  return map;
}

interface TileDrawing {
  readonly pictures: readonly LayerPicture[];
  readonly spectra: readonly ComplexPicture[];
  /** Energy of each layer under the field, by place of its middle. */
  readonly energies: readonly Float32Array[];
}

function prepareTile(fft: SquareFft, input: SearchInput, tile: Tile, mask: ComplexPicture): TileDrawing {
  const pictures = layerPictures(input.stack, tile.grid, input.slowUm);
  const spectra: ComplexPicture[] = [];
  const energies: Float32Array[] = [];
  for (const { picture } of pictures) {
    const spectrum = fft.blank();
    spectrum.re.set(picture);
    fft.forward(spectrum);
    spectra.push(spectrum);
    const squares = fft.blank();
    for (let n = 0; n < picture.length; n++) squares.re[n] = picture[n]! ** 2;
    fft.forward(squares);
    multiply(squares, mask);
    fft.inverse(squares);
    energies.push(Float32Array.from(squares.re));
  }
  return { pictures, spectra, energies };
}

/** Times the conjugate of the other, in place. */
function multiply(a: ComplexPicture, b: ComplexPicture): void {
  for (let n = 0; n < a.re.length; n++) {
    const re = a.re[n]! * b.re[n]! + a.im[n]! * b.im[n]!;
    a.im[n] = a.im[n]! * b.re[n]! - a.re[n]! * b.im[n]!;
    a.re[n] = re;
  }
}

const permutations = new Map<number, readonly Uint32Array[]>();
function permutationsOf(side: number): readonly Uint32Array[] {
  let maps = permutations.get(side);
  if (!maps) {
    maps = ORIENTATIONS.map((o) => permutation(o, side));
    permutations.set(side, maps);
  }
  return maps;
}

function tryHeight(
  fft: SquareFft,
  input: SearchInput,
  bins: readonly Spectrum[],
  drawing: TileDrawing,
  tile: Tile,
  height: Height,
  scale: number,
): Hypothesis[] {
  const { grid } = input.volume;
  const { side } = fft;
  const slabs: { n: number; bins: number; re: Float32Array; im: Float32Array }[] = [];
  drawing.pictures.forEach(({ layer }, n) => {
    const shares = binShares(grid, height, layer.bottom_um, layer.bottom_um + layer.thickness_um);
    const sum = shares.reduce((all, s) => all + s.share, 0);
    if (sum < 0.5) return;
    const re = new Float32Array(side * side);
    const im = new Float32Array(side * side);
    for (const { bin, share } of shares) {
      const from = bins[bin]!;
      for (let p = 0; p < re.length; p++) {
        re[p] = re[p]! + share * from.re[p]!;
        im[p] = im[p]! + share * from.im[p]!;
      }
    }
    slabs.push({ n, bins: sum, re, im });
  });
  if (slabs.length < 2) return [];
  const energy = new Float32Array(side * side);
  for (const { n, bins: share } of slabs) {
    const own = drawing.energies[n]!;
    for (let p = 0; p < energy.length; p++) energy[p] = energy[p]! + share * own[p]!;
  }
  let most = 0;
  for (const value of energy) if (value > most) most = value;
  let inField = 0;
  for (const w of input.volume.weight) inField += w;
  const imageEnergy = inField * grid.count;
  const found: Hypothesis[] = [];
  const maps = permutationsOf(side);
  const both = fft.blank();
  for (let o = 0; o < 8; o += 2) {
    product(drawing, slabs, maps[o]!, maps[o + 1]!, side, both);
    fft.inverse(both);
    for (const [which, map] of [both.re, both.im].entries()) {
      const scores = new Float32Array(map.length);
      for (let p = 0; p < scores.length; p++)
        scores[p] = map[p]! / Math.sqrt(imageEnergy * (energy[p]! + 0.05 * most));
      for (const sign of input.signs) {
        for (const peak of peaksOf(scores, sign, tile, side)) {
          found.push({
            orientation: o + which,
            rising: height.rising,
            scale,
            sign,
            score: peak.score,
            x: tile.grid.origin_um[0] + peak.column * tile.grid.pixel_um,
            y: tile.grid.origin_um[1] - peak.row * tile.grid.pixel_um,
            z: height.z,
          });
        }
      }
    }
  }
  return found;
}

/** Which share of each bin of the scan lies inside a layer. */
function binShares(
  grid: FrameVolume['grid'],
  height: Height,
  bottom: number,
  top: number,
): { bin: number; share: number }[] {
  const shares: { bin: number; share: number }[] = [];
  for (let bin = 0; bin < grid.count; bin++) {
    const z = height.z + height.rising * (grid.bottom + bin * grid.step);
    const share = (Math.min(top, z + grid.step / 2) - Math.max(bottom, z - grid.step / 2)) / grid.step;
    if (share > 0.01) shares.push({ bin, share });
  }
  return shares;
}

/** Sum over layers of drawing times conjugate scan, for two orientations at once: one as real, one as imaginary part. */
function product(
  drawing: TileDrawing,
  slabs: readonly { n: number; re: Float32Array; im: Float32Array }[],
  first: Uint32Array,
  second: Uint32Array,
  side: number,
  out: ComplexPicture,
): void {
  const half = side / 2;
  for (let row = 0; row < side; row++) {
    const mirrorRow = (side - row) % side;
    for (let column = 0; column <= half; column++) {
      const p = row * side + column;
      const f = first[p]!;
      const s = second[p]!;
      let ar = 0;
      let ai = 0;
      let br = 0;
      let bi = 0;
      for (const slab of slabs) {
        const spectrum = drawing.spectra[slab.n]!;
        const x = spectrum.re[p]!;
        const y = spectrum.im[p]!;
        const fr = slab.re[f]!;
        const fi = slab.im[f]!;
        const sr = slab.re[s]!;
        const si = slab.im[s]!;
        ar += x * fr + y * fi;
        ai += y * fr - x * fi;
        br += x * sr + y * si;
        bi += y * sr - x * si;
      }
      out.re[p] = ar - bi;
      out.im[p] = ai + br;
      // Both pictures are real, so their spectra at the opposite frequency are the conjugates.
      const q = mirrorRow * side + ((side - column) % side);
      out.re[q] = ar + bi;
      out.im[q] = br - ai;
    }
  }
}

function peaksOf(
  scores: Float32Array,
  sign: number,
  tile: Tile,
  side: number,
): { score: number; column: number; row: number }[] {
  const apart = APART_UM / tile.grid.pixel_um;
  const peaks: { score: number; column: number; row: number }[] = [];
  for (let n = 0; n < PEAKS; n++) {
    let best = { score: 0, column: -1, row: -1 };
    for (let row = tile.rows[0]; row < tile.rows[1]; row++) {
      for (let column = tile.columns[0]; column < tile.columns[1]; column++) {
        const score = sign * scores[row * side + column]!;
        if (score <= best.score) continue;
        if (peaks.some((p) => Math.hypot(p.row - row, p.column - column) < apart)) continue;
        best = { score, column, row };
      }
    }
    if (best.column < 0) break;
    peaks.push(best);
  }
  return peaks;
}
