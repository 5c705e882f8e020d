/**
 * Slices that have nothing to do with those above and below: noise alone, another slice's place taken twice. A slice at
 * the border of a layer differs from its neighbours too, but still looks like the mean of them; a wild one does not.
 */
import { median } from '../../kernels/statistics.ts';

/** A slice may be wild that has this many usual variances which the mean of its neighbours does not explain. */
const LEAST_UNEXPLAINED = 3;
/** And it is, where it looks like that mean by less than this share of the usual correlation. */
const MOST_LIKENESS = 0.5;
/** Likeness that chance alone makes, where neighbours show nothing either. */
const CHANCE = 0.2;
/** What is usual is asked of so many slices on either side. */
const REACH = 12;
/** Volumes with fewer slices have nothing usual. */
const LEAST_SLICES = 16;

/** The same places of every slice; null where a slice holds no data. */
export type SliceSamples = readonly (Float32Array | null)[];

interface Compared {
  /** Variance of the slice beside its regression on the mean of its neighbours: none of theirs is counted. */
  readonly unexplained: number;
  readonly likeness: number;
}

/** @returns numbers of wild slices, ascending */
export function wildSlices(samples: SliceSamples): number[] {
  const alive = samples.flatMap((sample, k) => (sample && sample.length > 0 ? [k] : []));
  if (alive.length < LEAST_SLICES) return [];
  const wild = new Set<number>();
  // Taken twice, to the last bit: the second is no slice of its own. In a volume without noise slices may be alike.
  const again = alive.filter((k) => k > 0 && same(samples[k - 1] ?? null, samples[k]!));
  if (again.length < alive.length / 10) for (const k of again) wild.add(k);
  const compared = new Map<number, Compared>();
  for (const k of alive) if (!wild.has(k)) compared.set(k, compare(samples, k, wild));
  for (;;) {
    // The wildest first: it also spoils what its neighbours are compared with.
    let worst: { k: number; ratio: number } | null = null;
    for (const [k, { unexplained, likeness }] of compared) {
      const near = around(compared, k).flatMap((other) => compared.get(other) ?? []);
      const usual = median(near.map((one) => one.unexplained));
      const alike = median(near.map((one) => one.likeness));
      const ratio = usual > 0 ? unexplained / usual : 0;
      if (ratio < LEAST_UNEXPLAINED || likeness > Math.max(MOST_LIKENESS * alike, CHANCE)) continue;
      if (!worst || ratio > worst.ratio) worst = { k, ratio };
    }
    if (!worst) return [...wild].sort((a, b) => a - b);
    wild.add(worst.k);
    compared.delete(worst.k);
    for (const k of around(compared, worst.k)) compared.set(k, compare(samples, k, wild));
  }
}

/** Slices within reach of one that were compared, without itself. */
const around = (compared: ReadonlyMap<number, Compared>, k: number): number[] =>
  Array.from({ length: 2 * REACH + 1 }, (_, n) => k - REACH + n).filter(
    (other) => other !== k && compared.has(other),
  );

function same(a: Float32Array | null, b: Float32Array): boolean {
  return a !== null && a.length === b.length && a.every((value, n) => value === b[n]);
}

/** A slice against the mean of the next sound ones above and below. */
function compare(samples: SliceSamples, k: number, wild: ReadonlySet<number>): Compared {
  const next = (step: 1 | -1): Float32Array | null => {
    for (let n = k + step; n >= 0 && n < samples.length && Math.abs(n - k) <= 3; n += step)
      if (!wild.has(n) && samples[n]) return samples[n];
    return null;
  };
  const own = samples[k]!;
  const beside = [next(-1), next(1)].filter((one): one is Float32Array => one?.length === own.length);
  if (beside.length === 0) return { unexplained: 0, likeness: 1 };
  let [count, sumA, sumB, aa, bb, ab] = [0, 0, 0, 0, 0, 0];
  for (let n = 0; n < own.length; n++) {
    const a = own[n]!;
    const b = beside.reduce((sum, one) => sum + one[n]!, 0) / beside.length;
    if (!Number.isFinite(a) || !Number.isFinite(b)) continue;
    count++;
    sumA += a;
    sumB += b;
    aa += a * a;
    bb += b * b;
    ab += a * b;
  }
  if (count < 100) return { unexplained: 0, likeness: 1 };
  const [varA, varB] = [aa / count - (sumA / count) ** 2, bb / count - (sumB / count) ** 2];
  const both = ab / count - (sumA / count) * (sumB / count);
  const likeness = varA > 0 && varB > 0 ? both / Math.sqrt(varA * varB) : 0;
  return { unexplained: varA * (1 - likeness ** 2), likeness };
}
