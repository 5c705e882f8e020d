/** The last step of a placement: all layers and patches together, to a small part of a voxel. */
import { type Affine3, compose3 } from '../../../../../shared/affine.ts';
import type { Warp } from '../../../../../shared/artefacts/placement.ts';
import { displacementAt } from '../../../../../shared/warp.ts';
import { addWarps, type Field, warpOf } from '../bending.ts';
import { type DieGrid, type DieView, type Drawing, dieGrid, dieView } from '../die-view.ts';
import { finePatches } from '../patches.ts';
import { middleOf } from '../places.ts';
import { softField } from '../soft-field.ts';
import type { WorkVolume } from '../work-volume.ts';
import { type DepthFit, fitDepth } from './depth-fit.ts';
import { measureLayerDepths } from './layer-depths.ts';
import { measureLayerShifts } from './layer-shifts.ts';
import { fitPlane, type PlaneFit } from './plane-fit.ts';
import { type ThroughLayers, throughLayers } from './through-layers.ts';

export interface SettleInput {
  readonly work: WorkVolume;
  readonly workToDie: Affine3;
  readonly warp: Warp | null;
  readonly sign: 1 | -1;
  readonly drawing: Drawing;
  /** Heights where films of the process table begin and end, micrometres. */
  readonly levelsUm: readonly number[];
  readonly field: Field;
  readonly pause: () => Promise<void>;
}

export interface Settled {
  readonly workToDie: Affine3;
  readonly warp: Warp | null;
  readonly uncertaintyUm: { readonly x: number; readonly y: number; readonly z: number };
  /** Scatter of single layers about the map, one standard deviation, micrometres. */
  readonly layerUm: number;
  readonly view: DieView;
}

const ROUNDS = 3;
/** A bent field is taken back from its middle outward, a few pixels in each round. */
const BENT_ROUNDS = 6;
/** Wald's statistic of fourteen powers above which a field is taken as bent; 36 would be one chance in a thousand. */
const LEAST_BENDING = 60;
/** Expected misalignment of one layer, one standard deviation. Common practice, no source: some tens of nanometres at most. */
const LAYER_UM = 0.01;

/**
 * A bending that was found before is kept only where all layers together still demand it: what it was found from takes
 * layers that lie beside each other for a bending, where some show here and others there.
 */
export async function settle(input: SettleInput): Promise<Settled | null> {
  const settled = await settleWith(input);
  if (!input.warp || !settled || settled.bending > LEAST_BENDING) return settled;
  return (await settleWith({ ...input, warp: null })) ?? settled;
}

async function settleWith(input: SettleInput): Promise<(Settled & { readonly bending: number }) | null> {
  const { work, drawing } = input;
  let map = input.workToDie;
  let warp = input.warp;
  let grid: DieGrid = dieGrid(work, map, drawing);
  let last: { plane: PlaneFit; through: ThroughLayers; depth: DepthFit } | null = null;
  for (let round = 0; round < (warp ? BENT_ROUNDS : ROUNDS); round++) {
    await input.pause();
    const view = dieView(work, map, grid, warp);
    const step = stepOf(view, map, warp !== null, input);
    if (!step) return null;
    last = step;
    const { plane, through, depth } = step;
    if (plane.bent) warp = bendFurther(warp, view, input);
    map = compose3(correctionOf(plane, through, depth, middleOf(work, map)), map);
    if (round === 0) grid = dieGrid(work, map, drawing);
  }
  if (!last) return null;
  const view = dieView(work, map, grid, warp);
  return {
    bending: warp ? bendingOf(view, map, warp, input) : 0,
    ...{ workToDie: map, warp, layerUm: last.through.layerUm },
    uncertaintyUm: { x: last.through.sdUm[0], y: last.through.sdUm[1], z: last.depth.sdUm },
    view,
  };
}

/** The warp with what all layers, each with an offset of its own, still say of a bending. */
function bendFurther(warp: Warp | null, view: DieView, { sign, field }: SettleInput): Warp | null {
  const soft = softField(
    measureLayerShifts(view, sign, finePatches(view)).map((cell) => ({
      ...{ u: (cell.xUm - field.x) / field.half, v: (cell.yUm - field.y) / field.half },
      ...{ shift: cell.shiftUm, group: cell.layer },
      weight: [cell.precision[0], cell.precision[2]] as const,
    })),
  );
  return soft ? addWarps(warp, warpOf(soft, field)) : warp;
}

/** Wald's statistic of the whole bending: of the shifts as they would be without it. */
function bendingOf(view: DieView, map: Affine3, warp: Warp, { work, sign, field }: SettleInput): number {
  const cells = measureLayerShifts(view, sign).map((cell) => {
    const [dx, dy] = displacementAt(warp, cell.xUm, cell.yUm);
    return { ...cell, shiftUm: [cell.shiftUm[0] - dx, cell.shiftUm[1] - dy] as const };
  });
  const zUm = view.layers.map((layer) => layer.middleUm);
  const middle = middleOf(work, map);
  return fitPlane({ cells, zUm, middle, half: field.half, bent: true })?.bending ?? 0;
}

function stepOf(
  view: DieView,
  map: Affine3,
  bent: boolean,
  { work, sign, levelsUm, field }: SettleInput,
): { plane: PlaneFit; through: ThroughLayers; depth: DepthFit } | null {
  const middle = middleOf(work, map);
  const zUm = view.layers.map((layer) => layer.middleUm);
  const cells = measureLayerShifts(view, sign);
  const planeWith = (bend: boolean) => fitPlane({ cells, zUm, middle, half: field.half, bent: bend });
  const powers = planeWith(true);
  const plane = bent || (powers && powers.bending > LEAST_BENDING) ? powers : planeWith(false);
  if (!plane) return null;
  const depth = fitDepth({
    ...{ depths: measureLayerDepths(view, sign), levelsUm, middle },
    middleUm: view.grid.pictures.map(({ layer }) => layer.bottom_um + layer.thickness_um / 2),
    stretch: Math.hypot(map[0][2], map[1][2], map[2][2]) / work.voxelUm[2],
  });
  if (!depth) return null;
  const square = squareLean(compose3(correctionOf(plane, null, depth, middle), map));
  return { plane, depth, through: throughLayers(plane.layers, middle[2], square, depth.tiltSd, LAYER_UM) };
}

/** Lean that, taken off, puts the axis of the slices at right angles to rows and columns. */
function squareLean([x, y, z]: Affine3): readonly [number, number] {
  const determinant = x[0] * y[1] - y[0] * x[1];
  // In-plane part of the slice axis that makes its products with the other two vanish.
  const [p, q] = [-z[2] * z[0], -z[2] * z[1]];
  const kx = (p * y[1] - q * y[0]) / determinant;
  const ky = (x[0] * q - x[1] * p) / determinant;
  return [(x[2] - kx) / z[2], (y[2] - ky) / z[2]];
}

/** The map that takes the die as seen now to the die as it should be: the picture lies too far by what was fitted. */
function correctionOf(
  { linear }: PlaneFit,
  through: ThroughLayers | null,
  depth: DepthFit,
  [mx, my, mz]: readonly [number, number, number],
): Affine3 {
  const [xx, xy, yx, yy] = linear;
  const [leanX, leanY] = through?.lean ?? [0, 0];
  // What the offsets of the layers say of the axis of the slices they say of the tilt too: the two stand at right angles.
  const [tiltedX, tiltedY] = through?.tilted ?? [0, 0];
  const [px, py] = through?.placeUm ?? [0, 0];
  const turned: Affine3 = [
    [1 - xx, -xy, -leanX, 0],
    [-yx, 1 - yy, -leanY, 0],
    [-depth.alongX + tiltedX, -depth.alongY + tiltedY, 1 - depth.alongZ, 0],
  ];
  const about: Affine3 = [
    [1, 0, 0, -mx],
    [0, 1, 0, -my],
    [0, 0, 1, -mz],
  ];
  const back: Affine3 = [
    [1, 0, 0, mx - px],
    [0, 1, 0, my - py],
    [0, 0, 1, mz - depth.place],
  ];
  return compose3(back, compose3(turned, about));
}
