/**
 * The inverse of a noise's covariance as a small round filter.
 *
 * The best linear guess of a pixel from its neighbours, taken from the pixel itself, leaves e = x - sum a x(neighbour);
 * for a stationary field e / var(e) is the inverse covariance applied to the field.
 * @source Besag, J. R. Statist. Soc. B 36, 192 (1974): conditional means of a Gaussian field and its inverse covariance
 */
import { convolvePlane, type Tap, type Taps } from './convolve-plane.ts';
import { normalEquations, solveNormal } from './least-squares.ts';

export interface InverseCovariance {
  /** Half the side of `taps`. */
  readonly reach: number;
  /** (2 reach + 1) squared, symmetric, row by row: the filter itself, in one over the unit of the field squared. */
  readonly taps: Float64Array;
  /** Standard deviation of what cannot be guessed from the neighbours. */
  readonly innovation: number;
}

const REACH = 4;
/**
 * White noise that is taken to be there too, as a share of the field's variance. Where the fitted noise has no power,
 * a model is never good enough for the evidence that would follow from it.
 */
const FLOOR = 0.1;
/** Smallest power at any frequency, relative to the innovations. */
const LEAST_POWER = 0.05;
const LIMIT = 3;

/**
 * @param field width * height
 * @param usable 1 where the field may be looked at; pixels whose neighbourhood is not usable throughout are left out
 * @param random 0 to 1, chooses the sample
 */
export function inverseCovariance(
  field: Float32Array,
  usable: Uint8Array,
  width: number,
  height: number,
  random: () => number,
  samples = 30_000,
): InverseCovariance {
  const rings = ringOffsets();
  const rows: number[] = [];
  for (let tries = 0; rows.length < samples && tries < 6 * samples; tries++) {
    const x = REACH + Math.floor(random() * (width - 2 * REACH));
    const y = REACH + Math.floor(random() * (height - 2 * REACH));
    if (open(usable, width, x, y)) rows.push(y * width + x);
  }
  // In the order in which they lie in memory.
  rows.sort((a, b) => a - b);
  const side = 2 * REACH + 1;
  const taps = new Float64Array(side * side);
  const deviation = spreadOf(rows.map((n) => field[n]!));
  if (rows.length < 500 || !(deviation > 0)) {
    taps[(taps.length - 1) / 2] = deviation > 0 ? 1 / deviation ** 2 : 0;
    return { reach: REACH, taps, innovation: deviation };
  }
  // Findings must not pass for noise.
  const limit = LIMIT * deviation;
  const tame = (n: number): number => Math.min(Math.max(field[n]!, -limit), limit);
  const columns = rings.map((ring) => {
    const offsets = Int32Array.from(ring, ([dx, dy]) => dy * width + dx);
    const column = new Float64Array(rows.length);
    for (let k = 0; k < column.length; k++) {
      let sum = 0;
      for (let o = 0; o < offsets.length; o++) sum += tame(rows[k]! + offsets[o]!);
      column[k] = sum;
    }
    return column;
  });
  const target = Float64Array.from(rows, tame);
  const equations = normalEquations(columns, target);
  const size = columns.length + 1;
  const floor = FLOOR * (equations.sums[size * size - 1]! / rows.length);
  const ridge = rings.map((ring) => floor * ring.length * rows.length);
  const { values } = solveNormal(equations, ridge);
  const weights = values.map((v) => v * keepPositive(rings, values));
  let squares = 0;
  rows.forEach((_, n) => {
    let guess = 0;
    for (let ring = 0; ring < rings.length; ring++) guess += weights[ring]! * columns[ring]![n]!;
    squares += (target[n]! - guess) ** 2;
  });
  let guessed = 1;
  rings.forEach((ring, k) => {
    guessed += ring.length * weights[k]! ** 2;
  });
  const variance = squares / rows.length + floor * guessed;
  taps[(taps.length - 1) / 2] = 1 / variance;
  rings.forEach((ring, k) => {
    for (const [dx, dy] of ring) taps[(dy + REACH) * side + dx + REACH] = -weights[k]! / variance;
  });
  return { reach: REACH, taps, innovation: Math.sqrt(variance) };
}

/** Offsets at equal distance, nearest first. */
function ringOffsets(): [number, number][][] {
  const rings = new Map<number, [number, number][]>();
  for (let dy = -REACH; dy <= REACH; dy++)
    for (let dx = -REACH; dx <= REACH; dx++) {
      const squared = dx * dx + dy * dy;
      if (squared === 0 || squared > REACH * REACH) continue;
      rings.set(squared, [...(rings.get(squared) ?? []), [dx, dy]]);
    }
  return [...rings].sort(([a], [b]) => a - b).map(([, ring]) => ring);
}

function open(usable: Uint8Array, width: number, x: number, y: number): boolean {
  for (let dy = -REACH; dy <= REACH; dy += REACH)
    for (let dx = -REACH; dx <= REACH; dx += REACH) if (!usable[(y + dy) * width + x + dx]) return false;
  return usable[y * width + x] !== 0;
}

function spreadOf(values: number[]): number {
  if (values.length === 0) return 0;
  const sorted = values.map(Math.abs).sort((a, b) => a - b);
  return sorted[sorted.length >> 1]! / 0.6745;
}

/** Share of the weights that keeps 1 - sum a cos(...) above its least at every frequency. */
function keepPositive(rings: readonly [number, number][][], weights: Float64Array): number {
  let most = 0;
  const steps = 24;
  for (let v = 0; v <= steps; v++)
    for (let u = 0; u <= v; u++) {
      let sum = 0;
      rings.forEach((ring, k) => {
        for (const [dx, dy] of ring) sum += weights[k]! * Math.cos((Math.PI * (u * dx + v * dy)) / steps);
      });
      most = Math.max(most, sum);
    }
  return most > 1 - LEAST_POWER ? (1 - LEAST_POWER) / most : 1;
}

/** Applies the filter; zero is assumed outside. */
export function applyTaps(
  filter: Pick<InverseCovariance, 'reach' | 'taps'>,
  field: Float32Array,
  width: number,
  height: number,
): Float32Array {
  const { reach, taps } = filter;
  const side = 2 * reach + 1;
  const weight = (dx: number, dy: number): number => taps[(dy + reach) * side + dx + reach]!;
  // Of every pair of opposite taps, which are alike, the one below or to the right.
  const pairs: Tap[] = [];
  for (let dy = 0; dy <= reach; dy++)
    for (let dx = dy === 0 ? 1 : -reach; dx <= reach; dx++)
      if (weight(dx, dy) !== 0) pairs.push({ dx, dy, weight: weight(dx, dy) });
  const pass: Taps = [{ dx: 0, dy: 0, weight: weight(0, 0) }, ...pairs];
  return convolvePlane(field, width, height, [pass], new Float32Array(field.length));
}
