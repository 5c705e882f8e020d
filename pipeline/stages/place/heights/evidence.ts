/**
 * How much of every layer there is at every height: each levelled plate is explained by the drawings of all layers
 * together (least squares), so that what a neighbour's drawing explains is not counted for a layer as well.
 */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../../shared/frames.ts';
import { warpOnGrid } from '../../../kernels/warp-on-grid.ts';
import { type ScanSlices, visitLevelled } from './levelled-plates.ts';
import { LocalMean } from './local-mean.ts';

/** Blocks of the field along each side; each gives sums of its own. */
export const BLOCKS = 5;
/** A block that has lost more of its pixels than this to the end of the scan says nothing at that height. */
const BLOCK_WHOLE = 0.97;

/** A pattern that plates are explained by: the drawing of a layer, or what a small fault of its place or width adds. */
export interface Sought {
  readonly layer: number;
  readonly own: boolean;
}

/** Sums over one block of the field, from which any subset of blocks can be solved. */
export interface BlockSums {
  /** Products of the patterns with each other. */
  readonly gram: Float64Array;
  /** For each plate: products of the plate with each pattern. */
  readonly cross: readonly Float64Array[];
  /** For each plate: sum of its squares; NaN where the block does not count. */
  readonly power: Float64Array;
  readonly pixels: number;
  /** Its middle, from -1 to 1 over the grid: along X, and up along Y. */
  readonly at: readonly [number, number];
}

export interface FieldSums {
  readonly layers: number;
  readonly sought: readonly Sought[];
  readonly zUm: readonly number[];
  readonly blocks: readonly BlockSums[];
}

export interface EvidenceInput {
  readonly scan: ScanSlices;
  readonly voxelToDieUm: Affine3;
  readonly warp: Placement['warp'];
  /** Grid of the measuring, its pixels `factor` voxels wide. */
  readonly grid: PlateGrid;
  readonly factor: number;
  readonly zUm: readonly number[];
  /** Coverage of every layer on the grid. */
  readonly drawings: readonly Float32Array[];
  /** Half width of the square whose mean is taken away, in pixels of the grid. */
  readonly radius: number;
}

export async function gatherEvidence(input: EvidenceInput): Promise<FieldSums> {
  const { grid, zUm, drawings, radius } = input;
  const { width_px: width, height_px: height } = grid;
  const bend = input.warp && warpOnGrid(input.warp, grid);
  const field = new Uint8Array(width * height);
  const visit = (heights: readonly number[], each: (n: number, values: Float32Array) => void) =>
    visitLevelled(input.scan, input.voxelToDieUm, bend, grid, input.factor, heights, each);
  await visit([zUm[zUm.length >> 1]!], (_, values) => {
    for (let n = 0; n < values.length; n++) field[n] = Number.isNaN(values[n]) ? 0 : 1;
  });
  const local = new LocalMean(width, height, radius);
  const detail: Float32Array[] = [];
  const sought: Sought[] = [];
  drawings.forEach((drawing, layer) => {
    const own = new Float32Array(width * height);
    local.subtract(drawing, field, own);
    let power = 0;
    for (const value of own) power += value * value;
    if (power <= LEAST_DETAIL * fieldPixels(field)) return;
    const slack = slackOf(drawing, width, height).map((values) => {
      const out = new Float32Array(width * height);
      local.subtract(values, field, out);
      return out;
    });
    for (const [n, values] of [own, ...slack].entries()) {
      detail.push(values);
      sought.push({ layer, own: n === 0 });
    }
  });
  const blockOf = blocks(field, width, height);
  const sums = Array.from({ length: BLOCKS * BLOCKS }, () => emptySums(detail.length, zUm.length));
  countPixels(blockOf, sums, width, height);
  sumGrams(detail, blockOf, sums);
  const runs = runsOf(blockOf, width);
  const valid = new Uint8Array(width * height);
  const plate = new Float32Array(width * height);
  await visit(zUm, (index, values) => {
    for (let n = 0; n < values.length; n++) valid[n] = field[n] && !Number.isNaN(values[n]) ? 1 : 0;
    local.subtract(values, valid, plate);
    sumPlate(index, plate, valid, detail, runs, sums);
  });
  return { layers: drawings.length, sought, zUm, blocks: sums.filter((block) => block.pixels > 0) };
}

/** Mean square of a drawing's detail over the field below which there is nothing to look for. */
const LEAST_DETAIL = 2e-4;

const fieldPixels = (field: Uint8Array): number => field.reduce((sum, inside) => sum + inside, 0);

/**
 * First-order changes of a drawing when it is shifted along x or y, or when its shapes come out wider, narrower or more
 * blurred. A plug of tungsten is so much stronger than the metal beside it that without these its rim would be taken
 * for something of another layer.
 */
function slackOf(drawing: Float32Array, width: number, height: number): Float32Array[] {
  const x = new Float32Array(drawing.length);
  const y = new Float32Array(drawing.length);
  const rim = new Float32Array(drawing.length);
  for (let row = 1; row < height - 1; row++)
    for (let column = 1; column < width - 1; column++) {
      const at = row * width + column;
      const [left, right] = [drawing[at - 1]!, drawing[at + 1]!];
      const [above, below] = [drawing[at - width]!, drawing[at + width]!];
      x[at] = right - left;
      y[at] = below - above;
      rim[at] = left + right + above + below - 4 * drawing[at]!;
    }
  return [x, y, rim];
}

type MutableSums = {
  gram: Float64Array;
  cross: Float64Array[];
  power: Float64Array;
  pixels: number;
  at: [number, number];
};

const emptySums = (patterns: number, plates: number): MutableSums => ({
  gram: new Float64Array(patterns * patterns),
  cross: Array.from({ length: plates }, () => new Float64Array(patterns)),
  power: new Float64Array(plates).fill(Number.NaN),
  pixels: 0,
  at: [0, 0],
});

/** Number of the block of every pixel; 255 outside the field. The blocks divide the box of the field. */
function blocks(field: Uint8Array, width: number, height: number): Uint8Array {
  let [x0, y0, x1, y1] = [width, height, 0, 0];
  for (let n = 0; n < field.length; n++) {
    if (!field[n]) continue;
    const x = n % width;
    const y = (n - x) / width;
    x0 = Math.min(x0, x);
    x1 = Math.max(x1, x + 1);
    y0 = Math.min(y0, y);
    y1 = Math.max(y1, y + 1);
  }
  return field.map((inside, n) => {
    if (!inside) return 255;
    const x = n % width;
    const y = (n - x) / width;
    return Math.floor((BLOCKS * (y - y0)) / (y1 - y0)) * BLOCKS + Math.floor((BLOCKS * (x - x0)) / (x1 - x0));
  });
}

function countPixels(blockOf: Uint8Array, sums: MutableSums[], width: number, height: number): void {
  blockOf.forEach((block, n) => {
    if (block === 255) return;
    const target = sums[block]!;
    const column = n % width;
    target.pixels++;
    target.at[0] += (2 * column) / Math.max(1, width - 1) - 1;
    target.at[1] += 1 - (2 * ((n - column) / width)) / Math.max(1, height - 1);
  });
  for (const target of sums)
    if (target.pixels > 0) target.at = [target.at[0] / target.pixels, target.at[1] / target.pixels];
}

function sumGrams(detail: readonly Float32Array[], blockOf: Uint8Array, sums: MutableSums[]): void {
  const layers = detail.length;
  const partial = new Float64Array(sums.length);
  for (let a = 0; a < layers; a++)
    for (let b = a; b < layers; b++) {
      partial.fill(0);
      const [p, q] = [detail[a]!, detail[b]!];
      for (let n = 0; n < blockOf.length; n++) if (blockOf[n]! < 255) partial[blockOf[n]!]! += p[n]! * q[n]!;
      sums.forEach((block, g) => {
        block.gram[a * layers + b] = partial[g]!;
        block.gram[b * layers + a] = partial[g]!;
      });
    }
}

/** A stretch of pixels of one row that lie in one block. */
interface Run {
  readonly block: number;
  readonly from: number;
  readonly to: number;
}

function runsOf(blockOf: Uint8Array, width: number): Run[] {
  const runs: Run[] = [];
  for (let from = 0; from < blockOf.length; ) {
    const block = blockOf[from]!;
    const end = from - (from % width) + width;
    let to = from + 1;
    while (to < end && blockOf[to] === block) to++;
    if (block < 255) runs.push({ block, from, to });
    from = to;
  }
  return runs;
}

function sumPlate(
  index: number,
  plate: Float32Array,
  valid: Uint8Array,
  detail: readonly Float32Array[],
  runs: readonly Run[],
  sums: MutableSums[],
): void {
  const power = new Float64Array(sums.length);
  const pixels = new Float64Array(sums.length);
  for (const { block, from, to } of runs) {
    for (let n = from; n < to; n++) {
      power[block]! += plate[n]! * plate[n]!;
      pixels[block]! += valid[n]!;
    }
  }
  sums.forEach((block, g) => {
    if (block.pixels > 0 && pixels[g]! >= BLOCK_WHOLE * block.pixels) block.power[index] = power[g]!;
  });
  for (let l = 0; l < detail.length; l += 4) {
    // Four patterns at once, so that their sums do not wait for each other; the last ones may be summed twice.
    const [p, q, r, s] = [0, 1, 2, 3].map((n) => detail[Math.min(l + n, detail.length - 1)]!) as Four;
    for (const { block, from, to } of runs) {
      let [a, b, c, d] = [0, 0, 0, 0];
      for (let n = from; n < to; n++) {
        const value = plate[n]!;
        a += value * p[n]!;
        b += value * q[n]!;
        c += value * r[n]!;
        d += value * s[n]!;
      }
      const cross = sums[block]!.cross[index]!;
      cross[l]! += a;
      if (l + 1 < detail.length) cross[l + 1]! += b;
      if (l + 2 < detail.length) cross[l + 2]! += c;
      if (l + 3 < detail.length) cross[l + 3]! += d;
    }
  }
}

type Four = [Float32Array, Float32Array, Float32Array, Float32Array];
