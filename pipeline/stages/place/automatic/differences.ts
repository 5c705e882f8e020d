/**
 * Two places that look alike, told apart by what differs: a shape that is drawn at one of them and not at the other
 * shows in the scan or does not. Correlation over the whole field counts what both have in common as well, and noise in that
 * outweighs a few shapes.
 */
import { type Affine3, apply3, compose3, invert3 } from '../../../../shared/affine.ts';
import type { ProcessLayer } from '../../../../shared/artefacts/process.ts';
import { type DieView, dieGrid, exactDrawing, type LayerView } from './die-view.ts';
import { differing, votesOf } from './differing-shapes.ts';
import type { DrawnStack } from './drawing.ts';
import { flattener, type Scene } from './scene.ts';

/** How the shapes that only one of two places has speak. */
export interface Told {
  /** Shapes that show as they are drawn at the own place, as at the other one, and neither way clearly. */
  readonly own: number;
  readonly other: number;
  readonly open: number;
  /** Layers that have a say for the own place, and for the other. */
  readonly ownLayers: number;
  readonly otherLayers: number;
}

/** How far drawings are shifted against each other to lie on each other, pixels. */
const ALIGN_PX = 4;
/** Drawn beyond the field, so that it can be shifted, pixels. */
const ROOM_PX = 2 * ALIGN_PX;
/** Over the field both places keep the same distance in height to this share of a layer's thickness. */
const SAME_HEIGHT = 0.3;
/** Heights of places that were found roughly may be off by this much, micrometres. */
const NEAR_UM = 0.6;
/** A layer counts as what shows at a height where it fills this share of what is averaged there. */
const FILLS = 0.5;
/** What it takes to tell two places apart: so many shapes, on so many layers, and hardly any that say otherwise. */
const APART = { shapes: 4, layers: 2, against: 1 / 8, clear: 0.75 } as const;

export const isOwn = (t: Told): boolean => decides(t.own, t.other, t.open, t.ownLayers);
export const isOther = (t: Told): boolean => decides(t.other, t.own, t.open, t.otherLayers);

const decides = (pro: number, con: number, open: number, layers: number): boolean =>
  pro >= APART.shapes &&
  layers >= APART.layers &&
  con <= APART.against * pro &&
  pro >= APART.clear * (pro + con + open);

/**
 * Where the other place lies higher or lower, the scan shows another layer of the drawing there, or none. Where it lies not
 * much higher or lower it is held against the scan at the own height too, and what speaks less for the own place counts.
 * @returns null where the layers of one place lie aslant in the other, at another height
 */
export function tellApart(scene: Scene, otherToDie: Affine3): Told | null {
  const { layers } = scene;
  const { frame } = scene.view.grid;
  const there = compose3(otherToDie, invert3(scene.workToDie));
  const itself = layers.map(({ drawn }) => drawn.layer);
  const found: (ProcessLayer | null)[][] = [];
  const near = layers.every(
    ({ drawn }) => Math.abs(heightThere(there, drawn, frame, 0.5, 0.5) - drawn.middleUm) < NEAR_UM,
  );
  if (near) found.push(itself);
  if (layers.every(({ drawn }) => isLevel(there, drawn, frame))) {
    const shows = layers.map(({ drawn }) => layerThere(scene.stack, there, drawn, frame));
    if (!near || shows.some((layer, n) => layer !== itself[n])) found.push(shows);
  }
  const told = found.map((shows) => tellFrom(scene, otherToDie, there, shows));
  return told.find((t) => !isOwn(t)) ?? told[0] ?? null;
}

/** @param shows what the other place puts at the height of each layer of the scene */
function tellFrom(
  scene: Scene,
  otherToDie: Affine3,
  there: Affine3,
  shows: readonly (ProcessLayer | null)[],
): Told {
  const { work, stack, view, layers } = scene;
  const { frame } = view.grid;
  const { width, height } = frame;
  const field = dieGrid(work, otherToDie, {
    ...exactDrawing(stack, frame.pixel, 0),
    pictures: () => [],
  }).plate;
  const plate = {
    origin_um: [
      field.origin_um[0] - ROOM_PX * frame.pixel,
      field.origin_um[1] + ROOM_PX * frame.pixel,
    ] as const,
    pixel_um: frame.pixel,
    width_px: field.width_px + 2 * ROOM_PX,
    height_px: field.height_px + 2 * ROOM_PX,
  };
  const rasters = shows.map((layer) =>
    layer ? stack.render(layer, plate) : new Float32Array(plate.width_px * plate.height_px),
  );
  const seen = (shift: readonly [number, number]): Float32Array[] =>
    layers.map(({ drawn }, n) => {
      const out = new Float32Array(width * height);
      for (let row = 0; row < height; row++)
        for (let column = 0; column < width; column++) {
          const x = frame.left + (column + shift[0]) * frame.pixel;
          const y = frame.top - (row + shift[1]) * frame.pixel;
          const [u, v] = apply3(there, [x, y, drawn.middleUm]);
          out[row * width + column] = valueAt(
            rasters[n]!,
            plate.width_px,
            plate.height_px,
            (u - plate.origin_um[0]) / frame.pixel,
            (plate.origin_um[1] - v) / frame.pixel,
          );
        }
      return out;
    });
  const others = seen(alignment(scene, seen([0, 0])));
  const flat = flattener(width, height, Math.max(2, work.slowUm / frame.pixel));
  const told = { own: 0, other: 0, open: 0, ownLayers: 0, otherLayers: 0 };
  layers.forEach((layer, n) => {
    const votes = votesOf(differing(layer, others[n]!, flat(others[n]!), view));
    told.own += votes.own;
    told.other += votes.other;
    told.open += votes.open;
    if (votes.own > 0) told.ownLayers++;
    if (votes.other > 0) told.otherLayers++;
  });
  return told;
}

type Frame = DieView['grid']['frame'];

const heightThere = (there: Affine3, { middleUm }: LayerView, frame: Frame, u: number, v: number): number =>
  apply3(there, [
    frame.left + u * frame.width * frame.pixel,
    frame.top - v * frame.height * frame.pixel,
    middleUm,
  ])[2];

function isLevel(there: Affine3, drawn: LayerView, frame: Frame): boolean {
  const middle = heightThere(there, drawn, frame, 0.5, 0.5);
  return [
    [0.25, 0.25],
    [0.75, 0.75],
    [0.25, 0.75],
  ].every(
    ([u, v]) =>
      Math.abs(heightThere(there, drawn, frame, u!, v!) - middle) < SAME_HEIGHT * drawn.layer.thickness_um,
  );
}

/** The layer that the other place puts at the height of a layer of this one. */
function layerThere(
  { layers }: DrawnStack,
  there: Affine3,
  drawn: LayerView,
  frame: Frame,
): ProcessLayer | null {
  const middle = heightThere(there, drawn, frame, 0.5, 0.5);
  const [low, high] = [middle - drawn.halfUm, middle + drawn.halfUm];
  let best: { layer: ProcessLayer; share: number } | null = null;
  for (const layer of layers) {
    const top = layer.bottom_um + layer.thickness_um;
    const share = (Math.min(high, top) - Math.max(low, layer.bottom_um)) / (high - low);
    if (share >= FILLS && (!best || share > best.share)) best = { layer, share };
  }
  return best?.layer ?? null;
}

function valueAt(raster: Float32Array, width: number, height: number, u: number, v: number): number {
  const [u0, v0] = [Math.floor(u), Math.floor(v)];
  if (u0 < 0 || v0 < 0 || u0 >= width - 1 || v0 >= height - 1) return 0;
  const [p, q] = [u - u0, v - v0];
  const at = v0 * width + u0;
  return (
    (raster[at]! * (1 - p) + raster[at + 1]! * p) * (1 - q) +
    (raster[at + width]! * (1 - p) + raster[at + width + 1]! * p) * q
  );
}

/**
 * The shift of the other drawing, pixels, at which it is most like the own one: a place that was found a little beside where
 * it is must not be told apart by its edges.
 */
function alignment({ view, layers }: Scene, others: readonly Float32Array[]): readonly [number, number] {
  const { width, height } = view.grid.frame;
  const size = 2 * ALIGN_PX + 1;
  const sums = new Float64Array(size * size);
  const r = ALIGN_PX;
  for (const [n, { coverage }] of layers.entries())
    for (let row = r; row < height - r; row++)
      for (let column = r; column < width - r; column++) {
        const p = row * width + column;
        const here = coverage[p]!;
        if (view.weight[p] === 0 || here === 0) continue;
        for (let v = -r; v <= r; v++)
          for (let u = -r; u <= r; u++)
            sums[(v + r) * size + u + r]! += here * others[n]![p + v * width + u]!;
      }
  let best = r * size + r;
  for (let n = 0; n < sums.length; n++) if (sums[n]! > sums[best]!) best = n;
  const [u, v] = [best % size, Math.floor(best / size)];
  const part = (low: number, high: number): number => {
    const curve = low + high - 2 * sums[best]!;
    return curve < 0 ? Math.max(-0.5, Math.min(0.5, (low - high) / (2 * curve))) : 0;
  };
  const du = u > 0 && u < size - 1 ? part(sums[best - 1]!, sums[best + 1]!) : 0;
  const dv = v > 0 && v < size - 1 ? part(sums[best - size]!, sums[best + size]!) : 0;
  return [u - r + du, v - r + dv];
}
