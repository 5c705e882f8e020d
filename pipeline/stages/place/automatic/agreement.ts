/** How well scan and drawing agree under one map: layer by layer, patch by patch of the scan, and where patches look. */
import { type Affine3, invert3 } from '../../../../shared/affine.ts';
import type { DieView, LayerView } from './die-view.ts';
import { type Cell, measureCells } from './patches.ts';
import type { WorkVolume } from './work-volume.ts';

/** How each layer of the drawing agrees with the scan over the whole field. */
export interface LayerAgreement {
  readonly name: string;
  /** Normalised correlation, -1 to 1. */
  readonly correlation: number;
}

/** Patches of neighbouring layers that by themselves find the place. */
export interface GroupAgreement {
  readonly layers: readonly string[];
  /** Patches with enough drawn to look for, and those whose own best match lies where the map says. */
  readonly patches: number;
  readonly agreeing: number;
}

export interface Agreement {
  readonly layers: readonly LayerAgreement[];
  /** Root of the sum of the squares of the positive correlations. */
  readonly strength: number;
  /** What each patch of the scan adds to the square of the strength; the same patches under every map. */
  readonly byPatch: Float64Array;
  /** All layers together first, then groups of neighbours from the lowest. */
  readonly groups: readonly GroupAgreement[];
  /** How far each patch's own best match lies from where the map puts it, all layers together, micrometres. */
  readonly residualsUm: readonly (number | null)[];
  readonly cells: readonly Cell[];
}

/** Patches of the scan, across and down. */
const ACROSS = 6;
/** How far each patch may wander, micrometres. */
const CHECK_UM = 0.5;
/** A patch agrees where its own best match lies this near: micrometres, and pixels where those are larger. */
const AGREE_UM = 0.12;
const AGREE_PX = 1.2;
/** A few layers with lines one way fit anywhere along them: they agree where nothing nearby fits clearly better. */
const NOTHING_BETTER = 0.85;
/** A patch is asked where it has this share of what patches have drawn on the average. */
const ENOUGH_DRAWN = 0.3;

/**
 * A layer that runs against the drawing (polysilicon beside contacts does) tells nothing either way: the contrast of
 * every layer is its own.
 */
export function agreementOf(work: WorkVolume, map: Affine3, view: DieView, sign: number): Agreement {
  const layers = view.layers.map((layer) => layerAgreement(layer, view.weight, sign));
  const strength = Math.sqrt(layers.reduce((sum, l) => sum + Math.max(0, l.correlation) ** 2, 0));
  const near = Math.max(AGREE_UM, AGREE_PX * view.grid.frame.pixel);
  const cellsOf = (group: readonly LayerView[]): Cell[] =>
    measureCells(view, sign, CHECK_UM, 0, near, [group]);
  const whole = view.layers.length < 2 ? [] : cellsOf(view.layers);
  return {
    layers,
    strength,
    byPatch: byPatch(work, map, view, layers, sign),
    groups: [
      groupAgreement(view.layers, whole, (c) => c.shiftUm !== null && Math.hypot(...c.shiftUm) < near),
      ...neighbours(view.layers).map((group) =>
        groupAgreement(group, cellsOf(group), (c) => c.here >= NOTHING_BETTER),
      ),
    ],
    residualsUm: whole.map((cell) => cell.shiftUm && Math.hypot(...cell.shiftUm)),
    cells: whole,
  };
}

function layerAgreement(
  { layer, slab, picture }: LayerView,
  weight: Float32Array,
  sign: number,
): LayerAgreement {
  let product = 0;
  let image = 0;
  let drawing = 0;
  for (let p = 0; p < slab.length; p++) {
    if (weight[p] === 0) continue;
    product += slab[p]! * picture[p]!;
    image += slab[p]! ** 2;
    drawing += picture[p]! ** 2;
  }
  const energy = image * drawing;
  return { name: layer.name, correlation: energy > 0 ? (sign * product) / Math.sqrt(energy) : 0 };
}

/** Up to three groups of neighbouring layers. */
function neighbours(layers: readonly LayerView[]): LayerView[][] {
  const sorted = [...layers].sort((p, q) => p.middleUm - q.middleUm);
  const count = Math.min(3, Math.floor(sorted.length / 2));
  if (count < 2) return [];
  return Array.from({ length: count }, (_, n) =>
    sorted.slice(Math.floor((n * sorted.length) / count), Math.floor(((n + 1) * sorted.length) / count)),
  );
}

function groupAgreement(
  group: readonly LayerView[],
  cells: readonly Cell[],
  agrees: (cell: Cell) => boolean,
): GroupAgreement {
  const mean = cells.reduce((sum, c) => sum + c.drawn, 0) / Math.max(1, cells.length);
  const asked = cells.filter((c) => c.drawn > 0 && c.drawn >= ENOUGH_DRAWN * mean);
  return {
    layers: group.map(({ layer }) => layer.name),
    patches: asked.length,
    agreeing: asked.filter(agrees).length,
  };
}

function byPatch(
  work: WorkVolume,
  map: Affine3,
  view: DieView,
  layers: readonly LayerAgreement[],
  sign: number,
): Float64Array {
  const out = new Float64Array(ACROSS * ACROSS);
  const back = invert3(map);
  const { frame } = view.grid;
  view.layers.forEach(({ slab, picture, middleUm }, n) => {
    const correlation = layers[n]!.correlation;
    if (correlation <= 0) return;
    let image = 0;
    let drawing = 0;
    for (let p = 0; p < slab.length; p++) {
      if (view.weight[p] === 0) continue;
      image += slab[p]! ** 2;
      drawing += picture[p]! ** 2;
    }
    const factor = (sign * correlation) / Math.sqrt(image * drawing);
    for (let row = 0; row < frame.height; row++) {
      const y = frame.top - row * frame.pixel;
      for (let column = 0; column < frame.width; column++) {
        const p = row * frame.width + column;
        if (view.weight[p] === 0) continue;
        const x = frame.left + column * frame.pixel;
        const i = back[0][0] * x + back[0][1] * y + back[0][2] * middleUm + back[0][3];
        const j = back[1][0] * x + back[1][1] * y + back[1][2] * middleUm + back[1][3];
        const a = Math.min(ACROSS - 1, Math.max(0, Math.floor((i / work.nx) * ACROSS)));
        const b = Math.min(ACROSS - 1, Math.max(0, Math.floor((j / work.ny) * ACROSS)));
        out[b * ACROSS + a] = out[b * ACROSS + a]! + factor * slab[p]! * picture[p]!;
      }
    }
  });
  return out;
}

/** Differences below this share of what a patch adds on the average are none. */
const ALIKE = 1e-6;

/**
 * How surely one map explains the scan better than another, patch by patch: Wilcoxon's signed rank statistic in standard
 * deviations (normal approximation). Patches that both explain alike do not count.
 * @source Wilcoxon, Biometrics Bulletin 1, 80 (1945).
 */
export function pairedRank(best: Agreement, rival: Agreement): number {
  const differences: number[] = [];
  // Where both places explain a patch alike, the last digits must not count as a preference.
  const alike = (ALIKE * best.strength ** 2) / best.byPatch.length;
  best.byPatch.forEach((own, n) => {
    const other = rival.byPatch[n]!;
    if (Math.abs(own - other) > alike) differences.push(own - other);
  });
  differences.sort((a, b) => Math.abs(a) - Math.abs(b));
  const count = differences.length;
  if (count < 6) return 0;
  const positive = differences.reduce((sum, d, n) => sum + (d > 0 ? n + 1 : 0), 0);
  return (positive - (count * (count + 1)) / 4) / Math.sqrt((count * (count + 1) * (2 * count + 1)) / 24);
}
