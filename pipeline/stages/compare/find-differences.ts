/** Looks over a layer for places where metal is missing or too much, from the strongest down. */
import { BoxFitter, type Difference, type Field, type Ground } from './box-fit.ts';
import { clip, grow, type PixelBox } from './canvas.ts';
import { COUPLING_REACH } from './evidence.ts';
import { SLOW_PX } from './kernel-bank.ts';

/** Sides of the squares that the layer is looked over with, pixels. */
const SIDES = [3, 5, 8, 13, 21];
/** A square counts where at least this share of it lies on the ground that is asked about. */
const LEAST_SHARE = 0.25;
/** Below this amplitude a significant difference is a misfit of the model, not metal that came or went. */
const LEAST_AMPLITUDE = 0.35;
/**
 * Metal is there or it is not: what is as large as the blur is wide comes or goes nearly fully (a round blob fills 0.79 of
 * the box around it), while a patch of the field that shines a little more or less is a share of all its metal. What is
 * smaller may be a part of a pixel deep, and a strip may be a wire that lost part of its width. Shorter sides, pixels.
 */
const LARGE_AMPLITUDE = 0.6;
const [SMALL_PX, LARGE_PX] = [4, 8];
/** A box so much longer than wide is a strip. */
const STRIP = 2;
/** So much more than metal could make of it is no metal of this layer. */
const MOST_AMPLITUDE = 2.5;
const MOST_SEEDS = 20_000;
/** The seed's own fit decides; a little below the limit, because a fitted box gains evidence. */
const SEED_SHARE = 0.8;
/** An edge that stands off by less than this, in pixels over a long stretch, is no difference but the edge's own doubt. */
const LEAST_DEPTH_PX = 1;
const LONG = 4;
/** A still longer stretch is an edge as a whole, which lies as far off as its layer and the place of the scan leave open. */
const WHOLE_EDGE_DEPTH_PX = 1.5;
const WHOLE_EDGE = 16;
/** The slow part of an image is drift, not metal: a change so wide both ways shows in its edges alone, and fully. */
const WIDE_PX = 2 * SLOW_PX;
const WIDE_AMPLITUDE = 0.7;

export interface Search {
  /** Differences of less evidence are left alone, in standard deviations. */
  readonly leastZ: number;
  /** `faults`: metal missing where drawn, or present where not. `decoys`: the two that physics forbids. */
  readonly what: 'faults' | 'decoys';
  readonly within?: PixelBox;
  /** Looks on this ground only. */
  readonly only?: Ground;
}

interface Seed {
  readonly box: PixelBox;
  readonly ground: Ground;
  readonly z: number;
  readonly evidence: number;
}

/**
 * Strongest first. What is found is taken out of `field.gain`.
 *
 * Decoys are more than full metal, and less than none: only noise and misfit make them, so that their number tells how
 * many of the faults are false.
 */
export const findDifferences = (field: Field, search: Search): Difference[] =>
  differencesAt(seeds(field, search), field, search);

/**
 * As `findDifferences`, from a strength on or, where there are more than `rank` places above it before any fit, from that of the
 * place of this rank.
 */
export function findStrongest(
  field: Field,
  what: Search['what'],
  leastZ: number,
  rank: number,
): { readonly found: Difference[]; readonly leastZ: number } {
  const all = seeds(field, { leastZ, what });
  const from = Math.max(leastZ, all.at(rank)?.z ?? 0);
  const strong = all.filter((seed) => seed.z >= SEED_SHARE * from);
  return { found: differencesAt(strong, field, { leastZ: from, what }), leastZ: from };
}

function differencesAt(places: readonly Seed[], field: Field, search: Search): Difference[] {
  const fitter = new BoxFitter(field);
  const found: Difference[] = [];
  const taken: Record<Ground, Uint8Array> = {
    metal: new Uint8Array(field.gain.length),
    gap: new Uint8Array(field.gain.length),
  };
  for (const seed of places) {
    const { box, ground } = seed;
    const middle = ((box.y0 + box.y1) >> 1) * field.width + ((box.x0 + box.x1) >> 1);
    if (taken[ground][middle] !== 0) continue;
    const sign = signOf(ground, search.what);
    // What was found before may have explained this seed.
    if (fitter.evidence(box, ground, sign) < 0.7 * seed.evidence) continue;
    const fitted = fitter.fit(box, ground, sign, search.leastZ);
    if (!fitted || fitted.z < search.leastZ || fitted.amplitude < leastAmplitude(fitted)) continue;
    if (fitted.amplitude > MOST_AMPLITUDE || !tellable(fitted)) continue;
    fitter.account(fitted);
    found.push(fitted);
    const around = clip(grow(fitted, 1), field);
    for (let y = around.y0; y < around.y1; y++)
      taken[ground].fill(1, y * field.width + around.x0, y * field.width + around.x1);
  }
  return found.sort((a, b) => b.z - a.z);
}

/** Least share of a difference's box on its ground that must have come or gone. */
export function leastAmplitude({ x0, y0, x1, y1, areaPx }: PixelBox & { areaPx: number }): number {
  const [short, long] = [Math.min(x1 - x0, y1 - y0), Math.max(x1 - x0, y1 - y0)];
  if (short <= LARGE_PX && long >= STRIP * short) return LEAST_AMPLITUDE;
  const side = Math.min(short, Math.sqrt(areaPx));
  const large = Math.min(Math.max((side - SMALL_PX) / (LARGE_PX - SMALL_PX), 0), 1);
  return LEAST_AMPLITUDE + (LARGE_AMPLITUDE - LEAST_AMPLITUDE) * large;
}

function tellable(d: Difference): boolean {
  const [w, h] = [d.x1 - d.x0, d.y1 - d.y0];
  const [short, long] = [Math.min(w, h), Math.max(w, h)];
  if (short > WIDE_PX && d.amplitude < WIDE_AMPLITUDE) return false;
  if (long <= LONG * short) return true;
  const least = long <= WHOLE_EDGE * short ? LEAST_DEPTH_PX : WHOLE_EDGE_DEPTH_PX;
  return (d.areaPx / long) * d.amplitude >= least;
}

export function signOf(ground: Ground, what: Search['what']): 1 | -1 {
  return (ground === 'metal') === (what === 'faults') ? -1 : 1;
}

/**
 * Evidence of the place that is `rank` places below the strongest, before any fit: how far up noise and misfit reach.
 */
export function evidenceAtRank(field: Field, what: Search['what'], rank: number): number {
  return seeds(field, { leastZ: 4, what }).at(rank)?.z ?? 0;
}

function seeds(field: Field, search: Search): Seed[] {
  const out: Seed[] = [];
  for (const ground of ['metal', 'gap'] as const) {
    if (search.only && ground !== search.only) continue;
    const sums = new SummedArea(field, ground);
    for (const side of SIDES) out.push(...peaks(field, search, ground, side, sums));
  }
  return out.sort((a, b) => b.z - a.z).slice(0, MOST_SEEDS);
}

/** Squares of one size whose evidence is the greatest around. */
function peaks(field: Field, search: Search, ground: Ground, side: number, sums: SummedArea): Seed[] {
  const { width, height } = field;
  const sign = signOf(ground, search.what);
  const own = squareCoupling(field.coupling, side);
  if (!(own > 0)) return [];
  const area = clip(search.within ?? { x0: 0, y0: 0, x1: width, y1: height }, field);
  const columns = area.x1 - area.x0 - side + 1;
  if (columns < 3 || area.y1 - area.y0 - side + 1 < 3) return [];
  const rows = [0, 1, 2].map(() => new Float32Array(columns));
  const limit = SEED_SHARE * search.leastZ;
  const fill = (y: number, row: Float32Array): void =>
    sums.deviations(area.x0, y, side, sign, own, limit, row);
  const out: Seed[] = [];
  const lastRow = area.y1 - side;
  fill(area.y0, rows[0]!);
  fill(area.y0 + 1, rows[1]!);
  for (let y = area.y0 + 1; y < lastRow; y++) {
    const [above, here, below] = [
      rows[(y - area.y0 - 1) % 3]!,
      rows[(y - area.y0) % 3]!,
      rows[(y - area.y0 + 1) % 3]!,
    ];
    fill(y + 1, below);
    for (let c = 1; c < columns - 1; c++) {
      const z = here[c]!;
      if (z < limit) continue;
      if (here[c - 1]! > z || here[c + 1]! >= z) continue;
      if (above[c]! > z || above[c - 1]! > z || above[c + 1]! > z) continue;
      if (below[c]! >= z || below[c - 1]! >= z || below[c + 1]! >= z) continue;
      const x = area.x0 + c;
      const evidence = sign * sums.evidence(x, y, side);
      out.push({ box: { x0: x, y0: y, x1: x + side, y1: y + side }, ground, z, evidence });
    }
  }
  return out;
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
    this.#gain = new Float64Array(stride * (height + 1));
    this.#weight = new Float64Array(stride * (height + 1));
    this.#weighed = new Float64Array(stride * (height + 1));
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
   * Evidence of the squares along a row in standard deviations; 0 where it is below a limit, where it speaks against, and
   * where too little of the square lies on the ground.
   * @param own coupling of a full square with itself
   */
  deviations(
    x0: number,
    y: number,
    side: number,
    sign: 1 | -1,
    own: number,
    limit: number,
    row: Float32Array,
  ): void {
    const [gain, weight, weighed] = [this.#gain, this.#weight, this.#weighed];
    const area = side * side;
    // No square of less evidence reaches the limit, whatever its share: roots need not be taken there.
    const least = (0.999 * limit * Math.sqrt(own)) / area;
    for (let c = 0, a = y * this.#stride + x0; c < row.length; c++, a++) {
      row[c] = 0;
      const b = a + side;
      const d = a + side * this.#stride;
      const e = d + side;
      const evidence = sign * (gain[e]! - gain[d]! - gain[b]! + gain[a]!);
      if (!(evidence > 0)) continue;
      const trusted = weighed[e]! - weighed[d]! - weighed[b]! + weighed[a]!;
      if (evidence < least * trusted) continue;
      const covered = weight[e]! - weight[d]! - weight[b]! + weight[a]!;
      if (covered < LEAST_SHARE * area) continue;
      const share = covered / area;
      const mean = trusted / covered;
      // Between a strip, whose coupling falls with its area, and a thinner cover, where it falls with the square.
      const q = own * share * Math.sqrt(share) * mean * mean;
      if (q > 0) row[c] = evidence / Math.sqrt(q);
    }
  }
}
