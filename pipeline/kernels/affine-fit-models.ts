/**
 * Least-squares maps from voxel index to die micrometres, one per model, each with residuals and the Jacobian that its
 * covariance needs. All work on points taken relative to their means, where the shift drops out of the problem.
 */
import { determinant, Matrix, SVD, solve } from 'ml-matrix';
import type { Affine3, Vector3 } from '../../shared/affine.ts';
import { type ControlPoint, type FitModel, type Handedness, PARAMETERS } from './affine-fit-types.ts';

/** Control points about their means, voxel steps turned into micrometres (or left in voxels where no size is known). */
export interface CentredPoints {
  readonly count: number;
  readonly meanVoxel: Vector3;
  readonly meanUm: Vector3;
  /** Length of one voxel step along i, j, k; 1 where no voxel size is known. */
  readonly step: Vector3;
  /** count x 3, step times (voxel - mean). */
  readonly from: Matrix;
  /** count x 3, micrometres. */
  readonly to: Matrix;
}

export interface ModelFit {
  readonly model: FitModel;
  readonly voxelToDieUm: Affine3;
  /** 3 x 3, maps `from` to `to` of the centred points. */
  readonly linear: Matrix;
  /** Stated minus mapped position, x0, y0, z0, x1 ..., micrometres. */
  readonly residualsUm: Float64Array;
  /** Sum of squared residuals, um^2. */
  readonly rss: number;
  /** 3 x PARAMETERS: how the mapped position of a centred point moves with the parameters. */
  readonly derivativesAt: (from: ArrayLike<number>) => Matrix;
}

export function centre(points: readonly ControlPoint[], stepUm: Vector3 | undefined): CentredPoints {
  const step = stepUm ?? [1, 1, 1];
  const mean = (pick: (point: ControlPoint) => Vector3): Vector3 =>
    [0, 1, 2].map((axis) => points.reduce((sum, p) => sum + pick(p)[axis]!, 0) / points.length) as [
      number,
      number,
      number,
    ];
  const meanVoxel = mean((p) => p.voxel);
  const meanUm = mean((p) => p.dieUm);
  return {
    count: points.length,
    meanVoxel,
    meanUm,
    step,
    from: new Matrix(points.map(({ voxel }) => voxel.map((v, axis) => (v - meanVoxel[axis]!) * step[axis]!))),
    to: new Matrix(points.map(({ dieUm }) => dieUm.map((x, axis) => x - meanUm[axis]!))),
  };
}

/**
 * Best map of one model in the sense of least squares. Models without their own depth scale can be fitted to points in
 * one plane; `handedness` then decides between the two solutions, and is ignored by the affine model.
 */
export function fitModel(points: CentredPoints, model: FitModel, handedness: Handedness): ModelFit {
  if (model === 'affine') return affineFit(points);
  const scale = model === 'rigid' ? 1 : commonScale(points, handedness);
  const near = { rotation: bestRotation(points, [1, 1, 1], handedness), scales: [scale, scale, scale] };
  if (model === 'rigid' || model === 'similarity') return scaledFit(points, model, near);
  // Far from a common scale the nearest rotation is a poor start, the columns of the affine map are a good one.
  const starts = [near];
  const lengths = columnLengths(affineLinear(points));
  if (lengths.every((length) => length > 0)) {
    const even = Math.sqrt((lengths[0]! ** 2 + lengths[1]! ** 2) / 2);
    const scales = model === 'uniaxial' ? [even, even, lengths[2]!] : lengths;
    starts.push({ rotation: bestRotation(points, scales, handedness), scales });
  }
  const fits = starts.map((start) => scaledFit(points, model, refine(points, model, start)));
  return fits.reduce((best, fit) => (fit.rss < best.rss ? fit : best));
}

interface ScaledRotation {
  readonly rotation: Matrix;
  readonly scales: readonly number[];
}

/**
 * Rotation, with a mirror where `handedness` is -1, that turns the scaled points best onto their targets.
 *
 * @source Kabsch, Acta Cryst. A 32 (1976) 922 and A 34 (1978) 827; Umeyama, IEEE Trans. PAMI 13 (1991) 376, eq. 39-43,
 * with the wanted sign in the place of +1.
 */
function bestRotation(points: CentredPoints, scales: readonly number[], handedness: Handedness): Matrix {
  const correlation = points.to
    .transpose()
    .mmul(points.from)
    .mmul(Matrix.diag([...scales]));
  const svd = new SVD(correlation);
  const u = svd.leftSingularVectors;
  const v = svd.rightSingularVectors;
  const last = handedness * sign(determinant(u) * determinant(v));
  return u.mmul(Matrix.diag([1, 1, last])).mmul(v.transpose());
}

/** @source Umeyama 1991, eq. 42: trace of the signed singular values over the variance of the first set. */
function commonScale(points: CentredPoints, handedness: Handedness): number {
  const turned = points.from.mmul(bestRotation(points, [1, 1, 1], handedness).transpose());
  return Matrix.mul(turned, points.to).sum() / Matrix.mul(points.from, points.from).sum();
}

/** Levenberg-Marquardt over rotation and the logarithms of the scales; the shift stays at the means. */
function refine(points: CentredPoints, model: FitModel, start: ScaledRotation): ScaledRotation {
  let best = start;
  let fit = scaledFit(points, model, best);
  let damping = 1e-6;
  // Residuals of a millionth of a millionth of the field are rounding.
  const exact = 1e-24 * points.to.dot(points.to);
  for (let round = 0; round < 60 && damping < 1e12 && fit.rss > exact; round++) {
    const jacobian = jacobianOf(points, fit).subMatrix(0, 3 * points.count - 1, 3, PARAMETERS[model] - 1);
    const normal = jacobian.transpose().mmul(jacobian);
    const slope = jacobian.transpose().mmul(Matrix.columnVector(fit.residualsUm));
    const largest = Math.max(...normal.diagonal());
    for (let n = 0; n < normal.rows; n++)
      normal.set(n, n, normal.get(n, n) * (1 + damping) + 1e-15 * largest);
    const step = solve(normal, slope).to1DArray();
    const next = stepped(best, model, step);
    const nextFit = scaledFit(points, model, next);
    if (nextFit.rss < fit.rss) {
      const gain = fit.rss - nextFit.rss;
      best = next;
      fit = nextFit;
      damping = Math.max(damping / 10, 1e-15);
      if (gain <= 1e-12 * fit.rss) break;
    } else damping *= 10;
  }
  return best;
}

function stepped(at: ScaledRotation, model: FitModel, step: readonly number[]): ScaledRotation {
  const grow = step.slice(3).map(Math.exp);
  const factors = model === 'uniaxial' ? [grow[0]!, grow[0]!, grow[1]!] : grow;
  return {
    rotation: rotationBy(step.slice(0, 3)).mmul(at.rotation),
    scales: at.scales.map((scale, axis) => scale * factors[axis]!),
  };
}

/** Rotation by a vector: its direction the axis, its length the angle. @source Rodrigues' rotation formula. */
function rotationBy(vector: readonly number[]): Matrix {
  const [x, y, z] = vector as [number, number, number];
  const angle = Math.hypot(x, y, z);
  if (angle === 0) return Matrix.eye(3);
  const cross = new Matrix([
    [0, -z, y],
    [z, 0, -x],
    [-y, x, 0],
  ]);
  const half = Math.sin(angle / 2);
  const squared = cross.mmul(cross).mul((2 * half * half) / (angle * angle));
  return Matrix.eye(3)
    .add(cross.mul(Math.sin(angle) / angle))
    .add(squared);
}

function scaledFit(points: CentredPoints, model: FitModel, { rotation, scales }: ScaledRotation): ModelFit {
  const linear = rotation.mmul(Matrix.diag([...scales]));
  /** Which axes each scale parameter stretches. */
  const groups: readonly (readonly number[])[] = {
    rigid: [],
    similarity: [[0, 1, 2]],
    uniaxial: [[0, 1], [2]],
    triaxial: [[0], [1], [2]],
    affine: [],
  }[model];
  return finish(points, model, linear, (from) => {
    const part = (axes: readonly number[]): number[] =>
      [0, 1, 2].map((row) => axes.reduce((sum, axis) => sum + linear.get(row, axis) * from[axis]!, 0));
    const [x, y, z] = part([0, 1, 2]) as [number, number, number];
    const stretched = groups.map(part);
    return new Matrix([
      [1, 0, 0, 0, z, -y, ...stretched.map((column) => column[0]!)],
      [0, 1, 0, -z, 0, x, ...stretched.map((column) => column[1]!)],
      [0, 0, 1, y, -x, 0, ...stretched.map((column) => column[2]!)],
    ]);
  });
}

const affineLinear = (points: CentredPoints): Matrix => solve(points.from, points.to, true).transpose();

function affineFit(points: CentredPoints): ModelFit {
  return finish(points, 'affine', affineLinear(points), (from) => {
    const derivatives = Matrix.zeros(3, 12);
    for (let row = 0; row < 3; row++) {
      derivatives.set(row, row, 1);
      for (let axis = 0; axis < 3; axis++) derivatives.set(row, 3 + 3 * row + axis, from[axis]!);
    }
    return derivatives;
  });
}

function finish(
  points: CentredPoints,
  model: FitModel,
  linear: Matrix,
  derivativesAt: ModelFit['derivativesAt'],
): ModelFit {
  const residuals = Matrix.sub(points.to, points.from.mmul(linear.transpose()));
  const { meanVoxel, meanUm, step } = points;
  const row = (n: number): [number, number, number, number] => {
    const [a, b, c] = [0, 1, 2].map((axis) => linear.get(n, axis) * step[axis]!) as [number, number, number];
    return [a, b, c, meanUm[n]! - a * meanVoxel[0] - b * meanVoxel[1] - c * meanVoxel[2]];
  };
  return {
    model,
    linear,
    voxelToDieUm: [row(0), row(1), row(2)],
    residualsUm: Float64Array.from(residuals.to1DArray()),
    rss: Matrix.mul(residuals, residuals).sum(),
    derivativesAt,
  };
}

/** Derivatives of all mapped positions, 3 count x PARAMETERS, in the order of the residuals. */
export function jacobianOf(points: CentredPoints, fit: ModelFit): Matrix {
  const rows: number[][] = [];
  for (let n = 0; n < points.count; n++) rows.push(...fit.derivativesAt(points.from.getRow(n)).to2DArray());
  return new Matrix(rows);
}

const columnLengths = (matrix: Matrix): number[] =>
  [0, 1, 2].map((axis) => Math.hypot(...matrix.getColumn(axis)));

const sign = (value: number): Handedness => (value < 0 ? -1 : 1);
