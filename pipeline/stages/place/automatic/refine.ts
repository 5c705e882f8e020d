/** From a rough map to an exact one: the patches of the field are measured and all parameters fitted together. */
import { type Affine3, apply3, compose3 } from '../../../../shared/affine.ts';
import type { Warp } from '../../../../shared/artefacts/placement.ts';
import { median } from '../../../kernels/statistics.ts';
import { type Agreement, agreementOf } from './agreement.ts';
import { addWarps, type Field, findBending } from './bending.ts';
import {
  type AskedDrawing,
  askedGrid,
  type DieGrid,
  type DieView,
  type Drawing,
  dieView,
} from './die-view.ts';
import { type Cell, measureCells } from './patches.ts';
import { middleOf } from './places.ts';
import { type Row, robustFit } from './robust-fit.ts';
import { settle } from './settle/settle.ts';
import type { WorkVolume } from './work-volume.ts';

export interface Refined {
  readonly workToDie: Affine3;
  readonly sign: 1 | -1;
  /** Root mean square of the layers' correlations, 0 to 1. */
  readonly score: number;
  /** Root of the sum of their squares: agreement of many layers is rarer than that of few. */
  readonly strength: number;
  readonly agreement: Agreement;
  readonly uncertaintyUm: { readonly x: number; readonly y: number; readonly z: number };
  /** Displacements on top of the map, in the die frame; null where an affine map does as well. */
  readonly warp: Warp | null;
}

export interface RefineRound {
  /** How far the patches look, sideways and in depth, micrometres. */
  readonly reachUm: number;
  readonly deepUm: number;
}

/** What is done at the end, on the finest level alone. */
export interface Finish {
  readonly drawing: Drawing;
  readonly bendRounds: number;
  /** Heights where films of the process table begin and end, micrometres. */
  readonly levelsUm: readonly number[];
}

export async function refine(
  work: WorkVolume,
  start: Affine3,
  sign: 1 | -1,
  drawing: Drawing | AskedDrawing,
  rounds: readonly RefineRound[],
  pause: () => Promise<void>,
  /** Whether a bending of the field is looked for after the rounds, and all is settled together. */
  finish: Finish | null = null,
): Promise<Refined> {
  let map = start;
  let grid: DieGrid = await askedGrid(work, map, drawing);
  let uncertaintyUm = { x: Infinity, y: Infinity, z: Infinity };
  for (const [n, round] of rounds.entries()) {
    await pause();
    const view = dieView(work, map, grid);
    if (view.layers.length < 2) break;
    const step = correction(
      measureCells(view, sign, round.reachUm, round.deepUm, 0),
      middleOf(work, map),
      view,
    );
    if (!step) break;
    map = compose3(step.map, map);
    uncertaintyUm = step.uncertaintyUm;
    if (n === 1) grid = await askedGrid(work, map, drawing);
  }
  let warp: Warp | null = null;
  const field = fieldOf(work, map);
  for (let n = 0; n < (finish?.bendRounds ?? 0); n++) {
    await pause();
    const view = dieView(work, map, grid, warp);
    if (view.layers.length < 2) break;
    const { reachUm, deepUm } = rounds.at(-1)!;
    const cells = measureCells(view, sign, reachUm, deepUm, 0);
    const bending = findBending(cells, field, middleOf(work, map)[2]);
    if (!bending) break;
    warp = addWarps(warp, bending.warp);
    const bent = dieView(work, map, grid, warp);
    const step = correction(measureCells(bent, sign, reachUm, deepUm, 0), middleOf(work, map), bent);
    if (!step) break;
    map = compose3(step.map, map);
    uncertaintyUm = step.uncertaintyUm;
  }
  await pause();
  let view: DieView | null = null;
  if (finish && uncertaintyUm.x < Infinity) {
    const { levelsUm } = finish;
    const settled = await settle({
      ...{ work, workToDie: map, warp, sign, drawing: finish.drawing, levelsUm, field, pause },
    });
    if (settled) ({ workToDie: map, warp, uncertaintyUm, view } = settled);
  }
  view ??= dieView(work, map, grid, warp);
  const agreement = agreementOf(work, map, view, sign);
  const { layers, strength } = agreement;
  return {
    workToDie: map,
    sign,
    score: layers.length > 0 ? strength / Math.sqrt(layers.length) : 0,
    strength,
    agreement,
    uncertaintyUm,
    warp,
  };
}

/** The field in the frame of the die: turned by half a right angle it reaches farther than its sides are long. */
function fieldOf(work: WorkVolume, map: Affine3): Field {
  const [x, y] = middleOf(work, map);
  const corners = [0, work.nx - 1].flatMap((i) =>
    [0, work.ny - 1].map((j) => apply3(map, [i, j, (work.nz - 1) / 2])),
  );
  return { x, y, half: Math.max(...corners.map((at) => Math.max(Math.abs(at[0] - x), Math.abs(at[1] - y)))) };
}

/** The map that takes the die as seen now to the die as it should be. */
function correction(
  cells: readonly Cell[],
  middle: readonly [number, number, number],
  view: DieView,
): { map: Affine3; uncertaintyUm: { x: number; y: number; z: number } } | null {
  const [mx, my, mz] = middle;
  const lateral: Row[] = [];
  const depth: Row[] = [];
  const typical = median(cells.filter((c) => c.shiftUm).map((c) => c.sureness[0] + c.sureness[2]));
  for (const cell of cells) {
    const [x, y, z] = [cell.xUm - mx, cell.yUm - my, cell.zUm - mz];
    if (cell.shiftUm) {
      const [xx, xy, yy] = cell.sureness;
      const [dx, dy] = cell.shiftUm;
      // Square root of the sureness matrix, so that a patch with edges one way only speaks for that way only.
      const l11 = Math.sqrt(xx);
      const l21 = xy / l11;
      const l22 = Math.sqrt(Math.max(0, yy - l21 * l21));
      const rows = [
        [l11, l21, l11 * dx + l21 * dy],
        [0, l22, l22 * dy],
      ] as const;
      for (const [a, b, value] of rows) {
        lateral.push({
          coefficients: [a, a * x, a * y, a * z, b, b * x, b * y, b * z],
          value,
          weight: 1,
        });
      }
    }
    if (cell.depthUm !== null && cell.depthSureness > 0)
      depth.push({ coefficients: [1, x, y, z], value: cell.depthUm, weight: cell.depthSureness });
  }
  // Ridges as strong as a few typical cells at small slopes: what the cells do not fix stays as it is.
  const far = (view.grid.frame.width * view.grid.frame.pixel) / 2;
  const r = 0.02 * typical;
  const side = robustFit(lateral, 8, [0, r, r, 0.5 * typical, 0, r, r, 0.5 * typical]);
  if (!side) return null;
  const typicalDepth = median(depth.map((row) => row.weight));
  const up = robustFit(depth, 4, [
    1e-3 * typicalDepth,
    0.02 * typicalDepth * far,
    0.02 * typicalDepth * far,
    2 * typicalDepth,
  ]);
  if (!up) return null;
  const s = side.solution;
  const u = up.solution;
  // The picture lies too far by the fitted amount.
  const linear: Affine3 = [
    [1 - s[1]!, -s[2]!, -s[3]!, 0],
    [-s[5]!, 1 - s[6]!, -s[7]!, 0],
    [-u[1]!, -u[2]!, 1 - u[3]!, 0],
  ];
  const about: Affine3 = [
    [1, 0, 0, -mx],
    [0, 1, 0, -my],
    [0, 0, 1, -mz],
  ];
  const back: Affine3 = [
    [1, 0, 0, mx - s[0]!],
    [0, 1, 0, my - s[4]!],
    [0, 0, 1, mz - u[0]!],
  ];
  return {
    map: compose3(back, compose3(linear, about)),
    uncertaintyUm: {
      x: Math.sqrt(side.covariance[0]![0]!),
      y: Math.sqrt(side.covariance[4]![4]!),
      z: Math.sqrt(up.covariance[0]![0]!),
    },
  };
}
