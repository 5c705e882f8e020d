/**
 * All shifts in the plane together: one map for the whole field, and for every layer an offset of its own, since the
 * layers of a chip lie on each other only as well as the fab aligned them. The map goes through the layers as a
 * random-effects mean: a layer with many edges must not drag it to its own offset.
 */
import { Matrix, solve } from 'ml-matrix';
import { POWERS } from '../bending.ts';
import { type Row, robustFit } from '../robust-fit.ts';
import type { LayerCell } from './layer-shifts.ts';

export interface PlaneInput {
  readonly cells: readonly LayerCell[];
  /** Height of every layer, micrometres. */
  readonly zUm: readonly number[];
  /** Middle of the scan, and half of the field's longer side. */
  readonly middle: readonly [number, number, number];
  readonly half: number;
  /** Whether the field may bend. */
  readonly bent: boolean;
}

export interface PlaneFit {
  /** Linear part in x and y, micrometres per micrometre: [xx, xy, yx, yy]. */
  readonly linear: readonly [number, number, number, number];
  /** Whether powers took part. */
  readonly bent: boolean;
  /** Wald's statistic of all powers together: about their number where the field is not bent; 0 where none were fitted. */
  readonly bending: number;
  /** Offset of every layer that shows: where its picture lies in the middle of the field. */
  readonly layers: readonly LayerOffset[];
}

export interface LayerOffset {
  readonly zUm: number;
  readonly offsetUm: readonly [number, number];
  readonly variance: readonly [number, number];
}

/** Cells a layer needs to have an offset. */
const LEAST_CELLS = 2;
/** Ridge on the powers, shares of a typical cell. */
const RIDGE = 0.05;

export function fitPlane(input: PlaneInput): PlaneFit | null {
  const { cells, zUm, bent } = input;
  const counts = zUm.map((_, layer) => cells.filter((c) => c.layer === layer).length);
  const shown = counts.flatMap((count, layer) => (count >= LEAST_CELLS ? [layer] : []));
  if (shown.length === 0) return null;
  const own = shown.length + 2 + (bent ? POWERS.length : 0);
  const rows = cells.flatMap((cell) => {
    const at = shown.indexOf(cell.layer);
    return at < 0 ? [] : rowsOf(cell, termsOf(cell, at, shown.length, input), own);
  });
  if (rows.length < 2 * own + 6) return null;
  const typical =
    rows.reduce((sum, r) => sum + r.coefficients.reduce((s, c) => s + c * c, 0), 0) / rows.length;
  const ridge = Array.from({ length: own }, (_, n) =>
    n < shown.length + 2 ? 1e-9 * typical : RIDGE * typical,
  );
  const fit = robustFit(rows, 2 * own, [...ridge, ...ridge]);
  if (!fit) return null;
  const { solution, covariance } = fit;
  const at = shown.length;
  return {
    linear: [solution[at]!, solution[at + 1]!, solution[own + at]!, solution[own + at + 1]!].map(
      (v) => v / input.half,
    ) as [number, number, number, number],
    bent,
    bending: bent ? waldOf(solution, covariance, [at + 2, own + at + 2]) : 0,
    layers: shown.map((layer, n) => ({
      zUm: zUm[layer]!,
      offsetUm: [solution[n]!, solution[own + n]!],
      variance: [covariance[n]![n]!, covariance[own + n]![own + n]!],
    })),
  };
}

/** Squared length of the powers in units of their covariance. */
function waldOf(
  solution: readonly number[],
  covariance: readonly (readonly number[])[],
  from: readonly number[],
): number {
  const at = from.flatMap((first) => POWERS.map((_, n) => first + n));
  const values = Matrix.columnVector(at.map((n) => solution[n]!));
  const block = new Matrix(at.map((a) => at.map((b) => covariance[a]![b]!)));
  try {
    return values.transpose().mmul(solve(block, values)).get(0, 0);
  } catch {
    return 0;
  }
}

function termsOf(cell: LayerCell, at: number, layers: number, { middle, half, bent }: PlaneInput): number[] {
  const [x, y] = [(cell.xUm - middle[0]) / half, (cell.yUm - middle[1]) / half];
  const offsets = Array.from({ length: layers }, (_, n) => (n === at ? 1 : 0));
  return [...offsets, x, y, ...(bent ? POWERS.map(([a, b]) => x ** a * y ** b) : [])];
}

/** Two rows, by the root of the precision: an edge one way speaks for that way only. */
function rowsOf(cell: LayerCell, terms: readonly number[], own: number): Row[] {
  const [xx, xy, yy] = cell.precision;
  const [dx, dy] = cell.shiftUm;
  const l11 = Math.sqrt(xx);
  const l21 = l11 > 0 ? xy / l11 : 0;
  const l22 = Math.sqrt(Math.max(0, yy - l21 * l21));
  const none = new Array<number>(own).fill(0);
  return [
    {
      coefficients: [...terms.map((t) => l11 * t), ...terms.map((t) => l21 * t)],
      value: l11 * dx + l21 * dy,
      weight: 1,
    },
    { coefficients: [...none, ...terms.map((t) => l22 * t)], value: l22 * dy, weight: 1 },
  ];
}
