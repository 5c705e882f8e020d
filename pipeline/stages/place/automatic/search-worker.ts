/**
 * Thread of the search: every height and orientation of the scan against tiles of the drawing. A place is scored by
 * the correlation of all layers it covers, each layer to the same spread: sum of products over the root of the
 * drawing's energy under the field. It grows with the number of layers that agree, so that a height that covers few
 * layers has no advantage from that.
 */
import { type Slot, SquareSpectra } from '../../../kernels/square-spectra.ts';
import { asTask } from '../../../workers/task.ts';
import { cropPicture } from './layout-pictures.ts';
import { type Hypothesis, ORIENTATIONS } from './orientation.ts';
import type { Height, ScaledScan, SearchResult, SearchTask, Tile } from './search-task.ts';
import { TopList } from './top-list.ts';

/** A layer counts where the scan covers this share of it. */
const LEAST_COVERED = 0.5;
/** Most layers that are matched at one height: those with the most to show. */
const MOST_LAYERS = 8;
/** Drawing this empty against the fullest place is not trusted to be as strong as it is. */
const FLOOR = 0.05;

interface PreparedTile {
  readonly tile: Tile;
  /** Spectrum of each layer. */
  readonly spectra: readonly Slot[];
  /** Energy of each layer under the field, for each place of the tile; null where no height needs the layer. */
  readonly energies: readonly (Float32Array | null)[];
}

/** A layer of the scan at one height: pixels of unit spread. */
interface Slab {
  readonly layer: number;
  readonly picture: Float32Array;
}

export default asTask(async (task: SearchTask): Promise<SearchResult> => {
  const spectra = await SquareSpectra.open(task.side);
  try {
    return searchTiles(task, spectra);
  } finally {
    spectra.close();
  }
});

function searchTiles(task: SearchTask, fft: SquareSpectra): SearchResult {
  const top = new TopList(task.keep, { planeUm: 4 * task.grid.pixel_um, heightUm: 0.5 });
  const best = new Float64Array(16);
  const bestAt = task.poses.map(() => [0, 0]);
  const slabSlots = task.layers.map(() => fft.slot());
  const half = halfOf(task);
  const product = fft.slot();
  const mask = fft.slot();
  const prepared = task.tiles.map((tile) => ({ tile, spectra: task.layers.map(() => fft.slot()) }));
  for (const scan of task.scans) {
    symmetricMask(fft, mask, scan);
    const needed = layersNeeded(task, scan);
    const tiles = prepared.map(({ tile, spectra }) =>
      prepareTile(fft, task, tile, spectra, mask, product, needed),
    );
    let norms: Float32Array[] = [];
    let normed = '';
    let slabs: readonly Slab[] = [];
    let at: Height | null = null;
    for (const [p, pose] of task.poses.entries()) {
      if (Atomics.load(task.stop, 0) !== 0) return { found: [], best: [...best], bestAt };
      const { pair, rising, z } = pose;
      if (at?.z !== z || at.rising !== rising) slabs = slabsAt(task, scan, pose);
      at = pose;
      if (slabs.length < 2) continue;
      const covered = slabs.map(({ layer }) => layer).join();
      // Neighbouring heights mostly cover the same layers.
      if (covered !== normed) norms = tiles.map((tile) => inverseNorms(tile, slabs, scan));
      normed = covered;
      for (const slab of slabs) fillSlab(fft, slabSlots[slab.layer]!, slab.picture, scan, pair);
      tiles.forEach((tile, n) => {
        const sums = fft.pairs(product);
        sums.fill(0);
        for (const { layer } of slabs)
          fft.multiplyAdd(tile.spectra[layer]!, slabSlots[layer]!, product, 1 / (fft.side * fft.side));
        fft.inverse(product);
        const from = { orientation: pair, rising, scale: scan.scale, z };
        const scores = collect(task, half, sums, norms[n]!, tile.tile, from, top);
        const own = pair + (rising === 1 ? 0 : 8);
        best[own] = Math.max(best[own]!, scores[0]);
        best[own + 1] = Math.max(best[own + 1]!, scores[1]);
        bestAt[p] = scores.map((score, part) => Math.max(score, bestAt[p]![part]!));
      });
    }
  }
  return { found: top.best(), best: [...best], bestAt };
}

/** So few poses may leave some layers out; to find that out for many would cost more than it spares. */
const FEW_POSES = 32;

/** Layers that the scan covers in any of the poses. */
function layersNeeded(task: SearchTask, scan: ScaledScan): ReadonlySet<number> {
  return new Set(
    task.poses.length > FEW_POSES
      ? task.layers.keys()
      : task.poses.flatMap((pose) => slabsAt(task, scan, pose).map(({ layer }) => layer)),
  );
}

/** Sums of the bins that lie in each layer, to zero mean and unit spread inside the field. */
export function slabsAt(task: SearchTask, scan: ScaledScan, height: Height): Slab[] {
  const area = scan.width * scan.height;
  const count = scan.bins.length / area;
  const { stepUm: step, bottomUm } = task;
  const slabs: Slab[] = [];
  const order = task.layers.map((_, n) => n).sort((p, q) => task.layers[q]!.power - task.layers[p]!.power);
  for (const layer of order) {
    if (slabs.length >= MOST_LAYERS) break;
    const { bottomUm: low, topUm: high } = task.layers[layer]!;
    const picture = new Float32Array(area);
    let covered = 0;
    for (let bin = 0; bin < count; bin++) {
      const z = height.z + height.rising * (bottomUm + bin * step);
      const share = (Math.min(high, z + step / 2) - Math.max(low, z - step / 2)) / step;
      if (share < 0.01) continue;
      covered += share * step;
      const from = bin * area;
      for (let p = 0; p < area; p++) picture[p] = picture[p]! + share * scan.bins[from + p]!;
    }
    if (covered < LEAST_COVERED * (high - low)) continue;
    if (toUnitSpread(picture, scan.weight)) slabs.push({ layer, picture });
  }
  return slabs;
}

function toUnitSpread(picture: Float32Array, weight: Float32Array): boolean {
  let sum = 0;
  let squares = 0;
  let count = 0;
  for (let p = 0; p < picture.length; p++) {
    if (weight[p]! <= 0.5) continue;
    sum += picture[p]!;
    squares += picture[p]! ** 2;
    count++;
  }
  const mean = sum / Math.max(1, count);
  const spread = Math.sqrt(Math.max(0, squares / Math.max(1, count) - mean * mean));
  if (!(spread > 1e-6)) return false;
  for (let p = 0; p < picture.length; p++) picture[p] = weight[p]! > 0.5 ? (picture[p]! - mean) / spread : 0;
  return true;
}

/**
 * Two orientations at once, one as real and one as imaginary part, mirrored through the middle: the product of spectra
 * then is the correlation and not the convolution.
 */
function fillSlab(
  fft: SquareSpectra,
  slot: Slot,
  picture: Float32Array,
  scan: ScaledScan,
  pair: number,
): void {
  const pairs = fft.pairs(slot);
  pairs.fill(0);
  for (const part of [0, 1]) scatter(pairs, fft.side, part, picture, scan, pair + part, -1, 1);
  fft.forward(slot);
}

/** Adds an oriented picture with its middle at pixel (0, 0); `way` -1 mirrors it through the middle. */
function scatter(
  pairs: Float32Array,
  side: number,
  part: number,
  picture: Float32Array,
  { width, height }: ScaledScan,
  orientation: number,
  way: 1 | -1,
  factor: number,
): void {
  const [a, b, c, d] = ORIENTATIONS[orientation]!;
  const cx = (width - 1) / 2;
  const cy = (height - 1) / 2;
  for (let row = 0; row < height; row++) {
    const v = cy - row;
    for (let column = 0; column < width; column++) {
      const value = picture[row * width + column]!;
      if (value === 0) continue;
      const u = column - cx;
      const x = way * (a * u + b * v);
      const y = way * (c * u + d * v);
      const at = ((side - y) & (side - 1)) * side + ((side + x) & (side - 1));
      pairs[2 * at + part] = pairs[2 * at + part]! + factor * value;
    }
  }
}

/** The field of view averaged over the eight orientations: which is nearly the same for all of them. */
function symmetricMask(fft: SquareSpectra, slot: Slot, scan: ScaledScan): void {
  const pairs = fft.pairs(slot);
  pairs.fill(0);
  for (let o = 0; o < 8; o++) scatter(pairs, fft.side, 0, scan.weight, scan, o, -1, 1 / 8);
  fft.forward(slot);
}

function prepareTile(
  fft: SquareSpectra,
  task: SearchTask,
  tile: Tile,
  spectra: readonly Slot[],
  mask: Slot,
  scratch: Slot,
  needed: ReadonlySet<number>,
): PreparedTile {
  const { side } = fft;
  const half = halfOf(task);
  const energies = task.layers.map(({ picture }, n) => {
    if (!needed.has(n)) return null;
    const crop = cropPicture(picture, task.grid, tile.columns[0] - half, tile.rows[0] - half, side, side);
    const own = fft.pairs(spectra[n]!);
    for (let p = 0; p < crop.length; p++) {
      own[2 * p] = crop[p]!;
      own[2 * p + 1] = crop[p]! ** 2;
    }
    // Squares ride along as imaginary part; their correlation with the field is the energy under it.
    fft.pairs(scratch).fill(0);
    fft.forward(spectra[n]!);
    fft.multiplyAdd(spectra[n]!, mask, scratch, 1 / (side * side));
    fft.inverse(scratch);
    const energy = inTile(fft.pairs(scratch), side, half, tile);
    const again = fft.pairs(spectra[n]!);
    for (let p = 0; p < crop.length; p++) {
      again[2 * p] = crop[p]!;
      again[2 * p + 1] = 0;
    }
    fft.forward(spectra[n]!);
    return energy;
  });
  return { tile, spectra, energies };
}

/** Room left and above the first place of a tile. */
const halfOf = (task: SearchTask): number =>
  Math.max(...task.scans.map((scan) => Math.ceil(Math.max(scan.width, scan.height) / 2))) + 1;

function inTile(pairs: Float32Array, side: number, half: number, { columns, rows }: Tile): Float32Array {
  const width = columns[1] - columns[0];
  const height = rows[1] - rows[0];
  const out = new Float32Array(width * height);
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++)
      out[row * width + column] = Math.max(0, pairs[2 * ((row + half) * side + column + half) + 1]!);
  return out;
}

function inverseNorms(tile: PreparedTile, slabs: readonly Slab[], scan: ScaledScan): Float32Array {
  const { columns, rows } = tile.tile;
  const out = new Float32Array((columns[1] - columns[0]) * (rows[1] - rows[0]));
  for (const { layer } of slabs) {
    const energy = tile.energies[layer]!;
    for (let p = 0; p < out.length; p++) out[p] = out[p]! + energy[p]!;
  }
  let most = 1e-12;
  for (const value of out) if (value > most) most = value;
  let inField = 0;
  for (const weight of scan.weight) inField += weight;
  for (let p = 0; p < out.length; p++) out[p] = 1 / Math.sqrt(inField * (out[p]! + FLOOR * most));
  return out;
}

/** Puts the peaks of the two maps of a pair of orientations into the list. @returns the best score of each map */
function collect(
  task: SearchTask,
  half: number,
  pairs: Float32Array,
  norms: Float32Array,
  tile: Tile,
  pose: Pick<Hypothesis, 'orientation' | 'rising' | 'scale' | 'z'>,
  top: TopList,
): [number, number] {
  const { side } = task;
  const width = tile.columns[1] - tile.columns[0];
  const rows = tile.rows[1] - tile.rows[0];
  const best: [number, number] = [0, 0];
  let limit = 0;
  for (let row = 0; row < rows; row++) {
    let at = 2 * ((row + half) * side + half);
    let n = row * width;
    for (let column = 0; column < width; column++, n++, at += 2) {
      const norm = norms[n]!;
      const first = pairs[at]! * norm;
      const second = pairs[at + 1]! * norm;
      // Nearly every place ends here.
      if (first < limit && first > -limit && second < limit && second > -limit) continue;
      for (const part of [0, 1] as const) {
        const value = part === 0 ? first : second;
        const sign = value > 0 ? 1 : -1;
        if (!task.signs.includes(sign)) continue;
        const score = Math.abs(value);
        if (score > best[part]) best[part] = score;
        if (score <= top.threshold || !isPeak(pairs, at + part, side, sign)) continue;
        const x = task.grid.origin_um[0] + (tile.columns[0] + column) * task.grid.pixel_um;
        const y = task.grid.origin_um[1] - (tile.rows[0] + row) * task.grid.pixel_um;
        top.add({ ...pose, orientation: pose.orientation + part, sign, score, x, y });
      }
      limit = Math.min(top.threshold, best[0], best[1]);
    }
  }
  return best;
}

function isPeak(pairs: Float32Array, at: number, side: number, sign: number): boolean {
  const own = sign * pairs[at]!;
  return (
    own >= sign * pairs[at - 2]! &&
    own >= sign * pairs[at + 2]! &&
    own >= sign * pairs[at - 2 * side]! &&
    own >= sign * pairs[at + 2 * side]!
  );
}
