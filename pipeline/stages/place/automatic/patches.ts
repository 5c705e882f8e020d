/** What the patches of the field say: how far the picture lies from the drawing, sideways and in depth. */
import type { DieView, LayerView } from './die-view.ts';
import { slabAt } from './die-view.ts';

/** One patch of the field and a few neighbouring layers. */
export interface Cell {
  readonly patch: number;
  readonly xUm: number;
  readonly yUm: number;
  readonly zUm: number;
  /** Where the picture lies against the drawing, micrometres; null where the best match is at the edge of the search. */
  readonly shiftUm: readonly [number, number] | null;
  /** Curvature of the correlation at its peak, [xx, xy, yy]: the more, the surer. */
  readonly sureness: readonly [number, number, number];
  readonly depthUm: number | null;
  readonly depthSureness: number;
  /** Product near the place the map gives, as a share of the best product in the search: 1 where nothing fits better. */
  readonly here: number;
  /** Energy of the drawing in the patch. */
  readonly drawn: number;
}

const PATCH_UM = 2;
const LEAST_PX = 20;
const GROUPS = 3;
/** Share of a patch that must lie in the field of view. */
const LEAST_INSIDE = 0.8;

export interface Patch {
  readonly number: number;
  readonly column: number;
  readonly row: number;
  readonly side: number;
}

export function patchesOf(view: DieView): Patch[] {
  const { width, height, pixel } = view.grid.frame;
  const small = Math.min(width, height);
  return patchesWith(
    view,
    Math.min(Math.max(LEAST_PX, Math.round(PATCH_UM / pixel), Math.round(small / 12)), small),
  );
}

/** As small as patches may be and as many: how a field bends is told by where they lie, not by how sure each is. */
export function finePatches(view: DieView): Patch[] {
  const { width, height } = view.grid.frame;
  const small = Math.min(width, height);
  return patchesWith(view, Math.min(Math.max(LEAST_PX, Math.round(small / 16)), small));
}

function patchesWith(view: DieView, side: number): Patch[] {
  const { width, height } = view.grid.frame;
  const columns = Math.floor(width / side);
  const rows = Math.floor(height / side);
  const left = Math.floor((width - columns * side) / 2);
  const top = Math.floor((height - rows * side) / 2);
  const patches: Patch[] = [];
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      const patch = { number: r * columns + c, column: left + c * side, row: top + r * side, side };
      let inside = 0;
      each(patch, width, (p) => {
        inside += view.weight[p]!;
      });
      if (inside >= LEAST_INSIDE * side * side) patches.push(patch);
    }
  }
  return patches;
}

function each(patch: Patch, width: number, visit: (p: number) => void): void {
  for (let row = patch.row; row < patch.row + patch.side; row++)
    for (let column = patch.column; column < patch.column + patch.side; column++) visit(row * width + column);
}

/** Neighbouring layers with about equal shares of what there is to match. */
export function layerGroups(layers: readonly LayerView[]): LayerView[][] {
  const sorted = [...layers].sort((p, q) => p.middleUm - q.middleUm);
  const all = sorted.reduce((sum, l) => sum + l.power, 0);
  const count = Math.min(GROUPS, Math.ceil(sorted.length / 2));
  const groups: LayerView[][] = Array.from({ length: count }, () => []);
  let sum = 0;
  for (const layer of sorted) {
    const share = (sum + layer.power / 2) / all;
    groups[Math.min(count - 1, Math.floor(share * count))]!.push(layer);
    sum += layer.power;
  }
  return groups.filter((group) => group.length > 0);
}

/**
 * @param reachUm how far sideways to look
 * @param depthReachUm how far up and down; 0 leaves the depth out
 * @param hereUm what is still near the place the map gives
 */
export function measureCells(
  view: DieView,
  sign: number,
  reachUm: number,
  depthReachUm: number,
  hereUm: number,
  groups: readonly (readonly LayerView[])[] = layerGroups(view.layers),
): Cell[] {
  const { frame } = view.grid;
  const { pixel, step } = frame;
  const reach = Math.max(2, Math.round(reachUm / pixel));
  const deep = Math.max(2, Math.round(depthReachUm / step));
  const patches = patchesOf(view);
  const cells: Cell[] = [];
  for (const group of groups) {
    const mass = group.reduce((sum, l) => sum + l.power, 0);
    const zUm = group.reduce((sum, l) => sum + l.middleUm * l.power, 0) / mass;
    const depths = depthReachUm > 0 ? depthProducts(view, group, patches, sign, deep) : null;
    patches.forEach((patch, n) => {
      const surface = shiftProducts(view, group, patch, sign, reach);
      const peak = peakOf(surface, reach);
      const depth = depths && peakOfLine(depths[n]!);
      const middle = (patch.side - 1) / 2;
      cells.push({
        patch: patch.number,
        xUm: frame.left + (patch.column + middle) * pixel,
        yUm: frame.top - (patch.row + middle) * pixel,
        zUm,
        shiftUm: peak ? [peak.u * pixel, -peak.v * pixel] : null,
        sureness: peak ? [peak.xx / pixel ** 2, -peak.xy / pixel ** 2, peak.yy / pixel ** 2] : [0, 0, 0],
        depthUm: depth ? depth.at * step : null,
        depthSureness: depth ? depth.curve / step ** 2 : 0,
        here: shareHere(surface, reach, hereUm / pixel),
        drawn: drawnIn(view, group, patch),
      });
    });
  }
  return cells;
}

function drawnIn(view: DieView, group: readonly LayerView[], patch: Patch): number {
  let sum = 0;
  for (const { picture } of group)
    each(patch, view.grid.frame.width, (p) => {
      sum += picture[p]! ** 2;
    });
  return sum;
}

function shiftProducts(
  view: DieView,
  group: readonly LayerView[],
  patch: Patch,
  s: number,
  r: number,
): Float64Array {
  const size = 2 * r + 1;
  const out = new Float64Array(size * size);
  const { width, height } = view.grid.frame;
  const { column: left, side } = patch;
  const rowsAt = (v: number): readonly [number, number] => [
    Math.max(patch.row, -v),
    Math.min(patch.row + side, height - v),
  ];
  for (const { slab, picture } of group) {
    for (let v = -r; v <= r; v++) {
      const [top, end] = rowsAt(v);
      let at = (v + r) * size;
      for (let u = -r; u <= r; ) {
        // Four shifts at once, so that their sums do not wait for each other; at the border one by one.
        if (u + 3 > r || left + u < 0 || left + side + u + 3 > width) {
          out[at]! +=
            s *
            oneShift(
              picture,
              slab,
              [top, end],
              [Math.max(left, -u), Math.min(left + side, width - u)],
              width,
              v * width + u,
            );
          u++;
          at++;
          continue;
        }
        let [a, b, c, d] = [0, 0, 0, 0];
        for (let row = top; row < end; row++) {
          let p = row * width + left;
          let q = p + v * width + u;
          for (const stop = p + side; p < stop; p++, q++) {
            const drawn = picture[p]!;
            a += drawn * slab[q]!;
            b += drawn * slab[q + 1]!;
            c += drawn * slab[q + 2]!;
            d += drawn * slab[q + 3]!;
          }
        }
        out[at]! += s * a;
        out[at + 1]! += s * b;
        out[at + 2]! += s * c;
        out[at + 3]! += s * d;
        u += 4;
        at += 4;
      }
    }
  }
  return out;
}

function oneShift(
  picture: Float32Array,
  slab: Float32Array,
  [top, end]: readonly [number, number],
  [from, to]: readonly [number, number],
  width: number,
  away: number,
): number {
  let sum = 0;
  for (let row = top; row < end; row++)
    for (let p = row * width + from; p < row * width + to; p++) sum += picture[p]! * slab[p + away]!;
  return sum;
}

function depthProducts(
  view: DieView,
  group: readonly LayerView[],
  patches: readonly Patch[],
  sign: number,
  deep: number,
): Float64Array[] {
  const { frame } = view.grid;
  const lines = patches.map(() => new Float64Array(2 * deep + 1));
  for (const layer of group) {
    for (let n = -deep; n <= deep; n++) {
      const slab = slabAt(view.sums, frame, layer.middleUm + n * frame.step, layer.halfUm);
      const factor = sign / layer.spread;
      patches.forEach((patch, q) => {
        let sum = 0;
        each(patch, frame.width, (p) => {
          sum += layer.picture[p]! * slab[p]!;
        });
        lines[q]![n + deep]! += factor * sum;
      });
    }
  }
  return lines;
}

function shareHere(surface: Float64Array, reach: number, near: number): number {
  const size = 2 * reach + 1;
  let all = 0;
  let here = 0;
  for (let v = -reach; v <= reach; v++) {
    for (let u = -reach; u <= reach; u++) {
      const value = surface[(v + reach) * size + u + reach]!;
      if (value > all) all = value;
      if (value > here && Math.hypot(u, v) <= near) here = value;
    }
  }
  return all > 0 ? here / all : 0;
}

function peakOf(
  surface: Float64Array,
  reach: number,
): { u: number; v: number; xx: number; xy: number; yy: number } | null {
  const size = 2 * reach + 1;
  let best = 0;
  for (let n = 1; n < surface.length; n++) if (surface[n]! > surface[best]!) best = n;
  const [u, v] = [best % size, Math.floor(best / size)];
  if (u === 0 || v === 0 || u === size - 1 || v === size - 1 || surface[best]! <= 0) return null;
  const at = (du: number, dv: number): number => surface[(v + dv) * size + u + du]!;
  const xx = 2 * at(0, 0) - at(-1, 0) - at(1, 0);
  const yy = 2 * at(0, 0) - at(0, -1) - at(0, 1);
  const xy = -(at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / 4;
  const gx = (at(1, 0) - at(-1, 0)) / 2;
  const gy = (at(0, 1) - at(0, -1)) / 2;
  const determinant = xx * yy - xy * xy;
  if (!(xx > 0 && yy > 0 && determinant > 0)) return null;
  const du = (yy * gx - xy * gy) / determinant;
  const dv = (xx * gy - xy * gx) / determinant;
  if (Math.abs(du) > 1 || Math.abs(dv) > 1) return null;
  return { u: u - reach + du, v: v - reach + dv, xx, xy, yy };
}

/** Top of the parabola through the best value and its neighbours a third of the width of the line away. */
export function peakOfLine(line: Float64Array): { at: number; curve: number } | null {
  const middle = (line.length - 1) / 2;
  const arm = Math.max(1, Math.round(middle / 3));
  let best = 0;
  for (let n = 1; n < line.length; n++) if (line[n]! > line[best]!) best = n;
  if (best < arm || best > line.length - 1 - arm || line[best]! <= 0) return null;
  const [low, high] = [line[best - arm]!, line[best + arm]!];
  const curve = 2 * line[best]! - low - high;
  if (!(curve > 0)) return null;
  return { at: best - middle + (arm * (high - low)) / (2 * curve), curve: curve / arm ** 2 };
}
