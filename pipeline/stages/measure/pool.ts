/**
 * Readings pooled by the shape they come from. Profiles along one line share what lies above and below that line, so
 * the lines, not the profiles, are the independent readings.
 */
import { median } from '../../kernels/statistics.ts';
import { nearMedian, robustDeviation, spreadOf } from './robust.ts';

export interface Reading {
  /** Which shape it belongs to. */
  readonly shape: string;
  readonly value: number;
}

/** Variances common to all groups of one kind on a layer. */
export interface SharedVariance {
  /** Between the profiles of one shape. */
  readonly within: number;
  /** Between the means of equal shapes, beyond what the profiles explain; and how many shapes told it. */
  readonly between: number;
  readonly dof: number;
}

export interface Pooled {
  readonly n: number;
  readonly shapes: number;
  readonly median: number;
  /** Standard deviation of the profiles. */
  readonly sd: number;
  /** Mean over the shapes, each weighted by what is known of it, and its standard uncertainty (kind A). */
  readonly value: number;
  readonly u: number;
  readonly dof: number;
}

interface ShapeMean {
  readonly mean: number;
  readonly n: number;
  readonly squares: number;
}

function shapeMeans(readings: readonly Reading[]): ShapeMean[] {
  const near = nearMedian(readings.map((r) => r.value));
  const byShape = new Map<string, number[]>();
  readings.forEach((reading, n) => {
    if (!near[n]) return;
    const list = byShape.get(reading.shape);
    if (list) list.push(reading.value);
    else byShape.set(reading.shape, [reading.value]);
  });
  return [...byShape.values()].map((values) => {
    const mean = values.reduce((a, b) => a + b, 0) / values.length;
    return { mean, n: values.length, squares: values.reduce((s, v) => s + (v - mean) ** 2, 0) };
  });
}

/**
 * Variance components of groups that scatter alike.
 * @param profileVariance what noise predicts for one profile; used where no shape carries two profiles
 */
export function sharedVariance(
  groups: readonly (readonly Reading[])[],
  profileVariance: number,
): SharedVariance {
  let squares = 0;
  let withinDof = 0;
  const all = groups.map(shapeMeans);
  for (const shape of all.flat()) {
    squares += shape.squares;
    withinDof += shape.n - 1;
  }
  const within = withinDof >= 5 ? squares / withinDof : profileVariance;
  // Method of moments: the scatter of the means about their group's mean, less what the profiles bring.
  let scatter = 0;
  let expected = 0;
  let dof = 0;
  for (const shapes of all) {
    if (shapes.length < 2) continue;
    const mean = shapes.reduce((s, v) => s + v.mean, 0) / shapes.length;
    const share = 1 - 1 / shapes.length;
    for (const shape of shapes) {
      scatter += (shape.mean - mean) ** 2;
      expected += (share * within) / shape.n;
    }
    dof += shapes.length - 1;
  }
  return {
    within,
    between: dof > 0 ? Math.max(0, (scatter - expected) / dof) : within,
    dof: Math.max(1, dof),
  };
}

export function pool(readings: readonly Reading[], shared: SharedVariance): Pooled {
  const values = readings.map((r) => r.value);
  const { n, median: middle, sd } = spreadOf(values);
  const shapes = shapeMeans(readings);
  const weights = shapes.map((s) => 1 / (shared.between + shared.within / s.n + 1e-18));
  // A shape that departs from the others by far is one that something else happened to.
  const means = shapes.map((s) => s.mean);
  const centre = median(means);
  const reach = 4 * Math.max(robustDeviation(means), Math.sqrt(shared.between + shared.within));
  let total = 0;
  let sum = 0;
  shapes.forEach((s, i) => {
    if (shapes.length >= 5 && Math.abs(s.mean - centre) > reach) return;
    total += weights[i]!;
    sum += weights[i]! * s.mean;
  });
  return {
    n,
    shapes: shapes.length,
    median: middle,
    sd,
    value: sum / total,
    u: 1 / Math.sqrt(total),
    dof: shared.dof,
  };
}
