/** The scan at one place beside the drawing there, layer by layer, each in units of the drawing. */
import { Matrix, solve } from 'ml-matrix';
import type { Affine3 } from '../../../../shared/affine.ts';
import { blurPlane } from '../../../kernels/gaussian-plane.ts';
import { smooth, withoutSlow } from '../../../kernels/smooth.ts';
import { type DieView, dieGrid, dieView, exactDrawing, type LayerView } from './die-view.ts';
import type { DrawnStack } from './drawing.ts';
import type { WorkVolume } from './work-volume.ts';

/** The scan as it lies at one place, with the drawing there. */
export interface Scene {
  readonly work: WorkVolume;
  readonly workToDie: Affine3;
  readonly stack: DrawnStack;
  readonly view: DieView;
  readonly layers: readonly SceneLayer[];
}

export interface SceneLayer {
  readonly drawn: LayerView;
  readonly coverage: Float32Array;
  /** Scan in units of the drawing: 0 where nothing is drawn, 1 where something is, without slow changes. */
  readonly shown: Float32Array;
  /** Coverage blurred like the scan, without slow changes. */
  readonly expected: Float32Array;
  /** Scatter of `shown` about `expected`. */
  readonly scatter: number;
}

/** Blur of a scan in its own voxels, near enough. */
export const BLUR_PX = 1.2;

export function sceneOf(work: WorkVolume, workToDie: Affine3, sign: number, stack: DrawnStack): Scene {
  const drawing = exactDrawing(stack, work.voxelUm[0], work.slowUm);
  const view = dieView(work, workToDie, dieGrid(work, workToDie, drawing));
  const { frame, plate } = view.grid;
  const flat = flattener(frame.width, frame.height, Math.max(2, work.slowUm / frame.pixel));
  const coverages = view.layers.map(({ layer }) => stack.render(layer, plate));
  const expected = coverages.map(flat);
  const gram = gramOf(expected, view.weight);
  const layers = view.layers.flatMap((drawn, n): SceneLayer[] => {
    const fit = jointFit(drawn.slab, expected, gram, view.weight);
    if (!fit || !(sign * fit.gains[n]! > 0)) return [];
    const gain = fit.gains[n]!;
    // What shows of the layers above and below is taken off: wires that vias stand on are not brighter than others.
    const shown = drawn.slab.map((v, p) => {
      let rest = v - fit.offset;
      for (const [m, other] of fit.gains.entries()) if (m !== n) rest -= other * expected[m]![p]!;
      return rest / gain;
    });
    return [
      {
        drawn,
        coverage: coverages[n]!,
        expected: expected[n]!,
        shown,
        scatter: fit.scatter / Math.abs(gain),
      },
    ];
  });
  return { work, workToDie, stack, view, layers };
}

/** Blurs like the scan and takes slow changes off. */
export function flattener(
  width: number,
  height: number,
  sigma: number,
): (picture: Float32Array) => Float32Array {
  const one = new Float32Array(width * height).fill(1);
  const smoothedOne = smooth(Float32Array.from(one), width, height, sigma);
  return (picture) =>
    blurPlane(withoutSlow(picture, one, smoothedOne, width, height, sigma), width, height, BLUR_PX);
}

/** Products of all pictures with each other over the field, and of each with 1: [1, pictures] by [1, pictures]. */
function gramOf(pictures: readonly Float32Array[], weight: Float32Array): Matrix {
  const size = pictures.length + 1;
  const gram = Matrix.zeros(size, size);
  const value = (n: number, p: number): number => (n === 0 ? 1 : pictures[n - 1]![p]!);
  for (let a = 0; a < size; a++)
    for (let b = a; b < size; b++) {
      let sum = 0;
      for (let p = 0; p < weight.length; p++) if (weight[p] !== 0) sum += value(a, p) * value(b, p);
      gram.set(a, b, sum);
      gram.set(b, a, sum);
    }
  return gram;
}

/** Ridge on the gains, as a share of each picture's own energy: layers whose shapes coincide share what shows. */
const RIDGE = 0.02;

/** Least squares of the scan at one layer on the drawings of all. */
function jointFit(
  slab: Float32Array,
  pictures: readonly Float32Array[],
  gram: Matrix,
  weight: Float32Array,
): { gains: number[]; offset: number; scatter: number } | null {
  const size = pictures.length + 1;
  if (gram.get(0, 0) < 50) return null;
  const right = Matrix.zeros(size, 1);
  let squares = 0;
  for (let p = 0; p < slab.length; p++) {
    if (weight[p] === 0) continue;
    const v = slab[p]!;
    squares += v * v;
    right.set(0, 0, right.get(0, 0) + v);
    for (let n = 1; n < size; n++) right.set(n, 0, right.get(n, 0) + v * pictures[n - 1]![p]!);
  }
  const held = gram.clone();
  for (let n = 1; n < size; n++) held.set(n, n, held.get(n, n) * (1 + RIDGE) + 1e-6 * gram.get(0, 0));
  const found = solve(held, right);
  const left = squares - 2 * found.dot(right) + found.transpose().mmul(gram).mmul(found).get(0, 0);
  const [offset, ...gains] = found.to1DArray();
  return { gains, offset: offset!, scatter: Math.sqrt(Math.max(0, left) / gram.get(0, 0)) };
}
