/** Squares all over a layer whose evidence is the greatest around: where a fit may start from. */
import type { Field, Ground } from './box-fit.ts';
import { clip, type PixelBox } from './canvas.ts';
import { COUPLING_REACH } from './evidence.ts';

/** Sides of the squares that the layer is looked over with, pixels. */
const SIDES = [3, 5, 8, 13, 21];
/** A square counts where at least this share of it lies on the ground that is asked about. */
const LEAST_SHARE = 0.25;
const MOST_SEEDS = 20_000;
/** The seed's own fit decides; a little below the limit, because a fitted box gains evidence. */
export const SEED_SHARE = 0.8;

export type What = 'faults' | 'decoys';

export interface Looking {
  /** Differences of less evidence are left alone, in standard deviations. */
  readonly leastZ: number;
  readonly within?: PixelBox;
  /** Looks on this ground only. */
  readonly only?: Ground;
}

export interface Seed {
  readonly box: PixelBox;
  readonly ground: Ground;
  readonly z: number;
  readonly evidence: number;
}

/** Metal that came (1) or went (-1): faults are metal gone from where it is drawn, and come where it is not. */
export function signOf(ground: Ground, what: What): 1 | -1 {
  return (ground === 'metal') === (what === 'faults') ? -1 : 1;
}

/** Places of either kind, strongest first. */
export function seedsOf(field: Field, looking: Looking): Record<What, Seed[]> {
  const out: Record<What, Seed[]> = { faults: [], decoys: [] };
  for (const ground of ['metal', 'gap'] as const) {
    if (looking.only && ground !== looking.only) continue;
    const sums = new SummedArea(field, ground);
    const kinds = signOf(ground, 'faults') === 1 ? [out.faults, out.decoys] : [out.decoys, out.faults];
    for (const side of SIDES) peaks(field, looking, ground, side, sums, kinds as [Seed[], Seed[]]);
  }
  for (const what of ['faults', 'decoys'] as const)
    out[what] = out[what].sort((a, b) => b.z - a.z).slice(0, MOST_SEEDS);
  return out;
}

interface Row {
  /** In standard deviations, one for each square. */
  readonly z: Float32Array;
  /** The columns where it reaches the limit. */
  readonly strong: Int32Array;
  count: number;
}

/** Squares of one size whose evidence is the greatest around. @param out those of more metal, and those of less */
function peaks(
  field: Field,
  looking: Looking,
  ground: Ground,
  side: number,
  sums: SummedArea,
  out: readonly [Seed[], Seed[]],
): void {
  const { width, height } = field;
  const own = squareCoupling(field.coupling, side);
  if (!(own > 0)) return;
  const area = clip(looking.within ?? { x0: 0, y0: 0, x1: width, y1: height }, field);
  const columns = area.x1 - area.x0 - side + 1;
  if (columns < 3 || area.y1 - area.y0 - side + 1 < 3) return;
  const rows = [0, 1, 2].map(() => ({
    z: new Float32Array(columns),
    strong: new Int32Array(columns),
    count: 0,
  }));
  const limit = SEED_SHARE * looking.leastZ;
  const fill = (y: number, row: Row): void => sums.deviations(area.x0, y, side, own, limit, row);
  const lastRow = area.y1 - side;
  fill(area.y0, rows[0]!);
  fill(area.y0 + 1, rows[1]!);
  for (let y = area.y0 + 1; y < lastRow; y++) {
    const [last, row, next] = [
      rows[(y - area.y0 - 1) % 3]!,
      rows[(y - area.y0) % 3]!,
      rows[(y - area.y0 + 1) % 3]!,
    ];
    fill(y + 1, next);
    const [above, here, below] = [last.z, row.z, next.z];
    for (let k = 0; k < row.count; k++) {
      const c = row.strong[k]!;
      if (c === 0 || c === columns - 1) continue;
      const z = here[c]!;
      const sign = z > 0 ? 1 : -1;
      const size = sign * z;
      if (sign * here[c - 1]! > size || sign * here[c + 1]! >= size) continue;
      if (sign * above[c]! > size || sign * above[c - 1]! > size || sign * above[c + 1]! > size) continue;
      if (sign * below[c]! >= size || sign * below[c - 1]! >= size || sign * below[c + 1]! >= size) continue;
      const x = area.x0 + c;
      const evidence = sign * sums.evidence(x, y, side);
      const box = { x0: x, y0: y, x1: x + side, y1: y + side };
      out[z > 0 ? 0 : 1].push({ box, ground, z: size, evidence });
    }
  }
}

/** <D, C D> of a full square. */
export function squareCoupling(coupling: Float32Array, side: number): number {
  const reach = COUPLING_REACH;
  let sum = 0;
  for (let dy = -Math.min(side - 1, reach); dy <= Math.min(side - 1, reach); dy++)
    for (let dx = -Math.min(side - 1, reach); dx <= Math.min(side - 1, reach); dx++)
      sum +=
        (side - Math.abs(dx)) *
        (side - Math.abs(dy)) *
        coupling[(dy + reach) * (2 * reach + 1) + dx + reach]!;
  return sum;
}

/** Memory of the sums, used again: there is one set of them at a time. */
let tables: Float64Array[] = [0, 1, 2].map(() => new Float64Array(0));

/** Sums over any box in constant time. @source Crow, Computer Graphics (SIGGRAPH) 18, 207 (1984) */
class SummedArea {
  readonly #gain: Float64Array;
  readonly #weight: Float64Array;
  readonly #weighed: Float64Array;
  readonly #stride: number;

  constructor(field: Field, ground: Ground) {
    const { width, height, gain, drawn, known, judged, trust } = field;
    const stride = width + 1;
    this.#stride = stride;
    const size = stride * (height + 1);
    if (tables[0]!.length < size) tables = [0, 1, 2].map(() => new Float64Array(size));
    [this.#gain, this.#weight, this.#weighed] = tables as [Float64Array, Float64Array, Float64Array];
    for (const table of tables) {
      table.fill(0, 0, stride);
      for (let y = 1; y <= height; y++) table[y * stride] = 0;
    }
    for (let y = 0; y < height; y++) {
      let g = 0;
      let w = 0;
      let u = 0;
      for (let x = 0; x < width; x++) {
        const n = y * width + x;
        const share = judged[n] === 0 ? 0 : ground === 'metal' ? drawn[n]! : 1 - known[n]!;
        g += share * trust[n]! * gain[n]!;
        w += share;
        u += share * trust[n]!;
        const to = (y + 1) * stride + x + 1;
        this.#gain[to] = this.#gain[to - stride]! + g;
        this.#weight[to] = this.#weight[to - stride]! + w;
        this.#weighed[to] = this.#weighed[to - stride]! + u;
      }
    }
  }

  /** Sum of the evidence over a square. */
  evidence(x: number, y: number, side: number): number {
    const top = y * this.#stride + x;
    const bottom = top + side * this.#stride;
    const gain = this.#gain;
    return gain[bottom + side]! - gain[bottom]! - gain[top + side]! + gain[top]!;
  }

  /**
   * Evidence of the squares along a row in standard deviations, above 0 for more metal, below for less; 0 where it is below a
   * limit either way, and where too little of the square lies on the ground.
   * @param own coupling of a full square with itself
   */
  deviations(x0: number, y: number, side: number, own: number, limit: number, row: Row): void {
    const { z, strong } = row;
    row.count = 0;
    const [gain, weight, weighed] = [this.#gain, this.#weight, this.#weighed];
    const area = side * side;
    // No square of less evidence reaches the limit, whatever its share: roots need not be taken there.
    const least = (0.999 * limit * Math.sqrt(own)) / area;
    for (let c = 0, a = y * this.#stride + x0; c < z.length; c++, a++) {
      z[c] = 0;
      const b = a + side;
      const d = a + side * this.#stride;
      const e = d + side;
      const evidence = gain[e]! - gain[d]! - gain[b]! + gain[a]!;
      const trusted = weighed[e]! - weighed[d]! - weighed[b]! + weighed[a]!;
      if (Math.abs(evidence) < least * trusted) continue;
      const covered = weight[e]! - weight[d]! - weight[b]! + weight[a]!;
      if (covered < LEAST_SHARE * area) continue;
      const share = covered / area;
      const mean = trusted / covered;
      // Between a strip, whose coupling falls with its area, and a thinner cover, where it falls with the square.
      const q = own * share * Math.sqrt(share) * mean * mean;
      if (!(q > 0)) continue;
      z[c] = evidence / Math.sqrt(q);
      if (Math.abs(z[c]!) >= limit) strong[row.count++] = c;
    }
  }
}
