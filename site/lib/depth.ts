/** Depth arithmetic of the viewer: which plate, which layer, what to say. Pure numbers and words. */
import type { Layers, PlateLabel } from '../../shared/artefacts/layers.ts';
import { formatFixed } from './numbers.ts';

/**
 * Index of the plate nearest to a height.
 * @param zUm heights of the plates in micrometres, rising, at least one
 */
export function nearestPlate(zUm: readonly number[], z: number): number {
  let low = 0;
  let high = zUm.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (zUm[middle]! <= z) low = middle;
    else high = middle;
  }
  return Math.abs(zUm[low]! - z) <= Math.abs(zUm[high]! - z) ? low : high;
}

export const clampPlate = (count: number, index: number): number =>
  Math.min(count - 1, Math.max(0, Math.round(index)));

/** Decimals that tell neighbouring plates apart, in micrometres: one beyond the first digit of the step. */
export function heightDecimals(stepUm: number): number {
  if (!(stepUm > 0)) return 3;
  return Math.min(4, Math.max(2, Math.ceil(-Math.log10(stepUm)) + 1));
}

export interface LayerRun {
  readonly name: string;
  /** First and last plate of the run, lowest first. */
  readonly first: number;
  readonly last: number;
  readonly middle: number;
}

/** Runs of neighbouring plates that lie in the same layer, from the lowest up. */
export function layerRuns(labels: readonly PlateLabel[]): LayerRun[] {
  const runs: { name: string; first: number; last: number }[] = [];
  for (const [index, label] of labels.entries()) {
    const open = runs.at(-1);
    if (open && open.name === label.layer && open.last === index - 1) open.last = index;
    else if (label.layer !== null) runs.push({ name: label.layer, first: index, last: index });
  }
  return runs.map((run) => ({ ...run, middle: (run.first + run.last) >> 1 }));
}

/**
 * Plate to jump to for "next layer": the middle of the nearest run of plates wholly beyond the present plate.
 * @param direction 1 is up, towards larger Z; -1 is down
 * @returns the present plate where there is no further layer
 */
export function nextLayerPlate(labels: readonly PlateLabel[], index: number, direction: 1 | -1): number {
  const runs = layerRuns(labels);
  const run = direction > 0 ? runs.find((r) => r.first > index) : runs.findLast((r) => r.last < index);
  return run ? run.middle : index;
}

export interface PlateLayer {
  readonly name: string;
  /** 1 where the plate lies in the layer, less where it lies beside it. */
  readonly share: number;
}

/** The layers whose renders belong beside a plate: its own, or the neighbours, the nearer one first. */
export function layersAtPlate(
  labels: readonly PlateLabel[],
  layers: Layers['layers'],
  index: number,
): PlateLayer[] {
  const label = labels[index];
  if (!label) return [];
  if (label.layer !== null) return [{ name: label.layer, share: 1 }];
  const gap = (name: string): number => {
    const span = layers.find((layer) => layer.name === name);
    if (!span) return Infinity;
    return Math.max(span.bottom_um - label.z_um, label.z_um - span.top_um, 0);
  };
  const names = (label.between ?? []).filter((name) => layers.some((layer) => layer.name === name));
  return [...new Set(names)].sort((a, b) => gap(a) - gap(b)).map((name) => ({ name, share: BESIDE_SHARE }));
}

/** How strongly the render of a layer is drawn beside a plate that is not in it. */
export const BESIDE_SHARE = 0.35;

/** "metal2", "between metal1 and via1", or null where nothing is known of layers. */
export function layerWords(label: PlateLabel | undefined): string | null {
  if (!label) return null;
  if (label.layer !== null) return label.layer;
  const [below, above] = label.between ?? [];
  if (below && above) return `between ${below} and ${above}`;
  if (below) return `beside ${below}`;
  return null;
}

/** What a slider says of a plate: "plate 57, metal2, z = 2.190 µm". */
export function plateWords(
  label: PlateLabel | undefined,
  index: number,
  z: number,
  decimals: number,
): string {
  const layer = layerWords(label);
  return `plate ${index}, ${layer ? `${layer}, ` : ''}z = ${formatFixed(z, decimals)} µm`;
}

/** Confidences that differ by less say the same. */
const SAME_CONFIDENCE = 0.02;

/**
 * The plate a reader should meet first: the middle of a well known conductor that was seen whole, half-way up the
 * stack, where wires run; without any, the middle plate.
 */
export function openingPlate(layers: Layers): number {
  const runs = layerRuns(layers.plates);
  const known = layers.layers
    .filter((layer) => layer.seen === 'whole' && layer.role === 'conductor')
    .filter((layer) => runs.some((run) => run.name === layer.name))
    .sort((a, b) => a.bottom_um - b.bottom_um);
  const best = Math.max(...known.map((layer) => layer.confidence));
  const equal = known.filter((layer) => layer.confidence >= best - SAME_CONFIDENCE);
  const chosen = equal[equal.length >> 1];
  const run = chosen && runs.find((one) => one.name === chosen.name);
  return run ? run.middle : layers.plates.length >> 1;
}
