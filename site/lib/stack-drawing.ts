/** Geometry of the stack drawn to scale: for the figure of the front page and for the depth column. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { ProcessLayer } from '../../shared/artefacts/process.ts';
import { layerColour } from './ramp.ts';

export interface Band {
  readonly name: string;
  readonly role: ProcessLayer['role'];
  readonly bottomUm: number;
  readonly topUm: number;
  readonly colour: string;
  readonly material: string | null;
  readonly seen: 'whole' | 'cut' | 'outside';
}

/** Colour of every layer by its place in the stack, the same on all pages of a folio. */
export function stackColours(stack: readonly { name: string; bottom_um: number }[]): Map<string, string> {
  const upward = [...stack].sort((a, b) => a.bottom_um - b.bottom_um);
  return new Map(upward.map((layer, n) => [layer.name, layerColour(n, upward.length)]));
}

/** Bands of the process table. */
export function nominalBands(stack: readonly ProcessLayer[]): Band[] {
  const colours = stackColours(stack);
  return [...stack]
    .sort((a, b) => a.bottom_um - b.bottom_um)
    .map((layer) => ({
      name: layer.name,
      role: layer.role,
      bottomUm: layer.bottom_um,
      topUm: layer.bottom_um + layer.thickness_um,
      colour: colours.get(layer.name)!,
      material: layer.material ?? null,
      seen: 'whole',
    }));
}

/** Bands of one scan, at the heights of its layers.json, in the colours of the folio's stack. */
export function scanBands(layers: Layers['layers'], stack: readonly ProcessLayer[]): Band[] {
  const colours = stackColours(stack.length > 0 ? stack : layers);
  const materials = new Map(stack.map((layer) => [layer.name, layer.material ?? null]));
  return [...layers]
    .sort((a, b) => a.bottom_um - b.bottom_um)
    .map((layer) => ({
      name: layer.name,
      role: layer.role,
      bottomUm: layer.bottom_um,
      topUm: layer.top_um,
      colour: colours.get(layer.name) ?? layerColour(0, 1),
      material: materials.get(layer.name) ?? null,
      seen: layer.seen,
    }));
}

export type Range = readonly [number, number];

/** Heights that a drawing must hold: all bands, all plates, and a margin above and below. */
export function drawingRange(bands: readonly Band[], heights: readonly number[], margin = 0.03): Range {
  const values = [...bands.flatMap((band) => [band.bottomUm, band.topUm]), ...heights];
  if (values.length === 0) return [0, 1];
  const low = Math.min(...values);
  const high = Math.max(...values);
  const pad = (high - low || 1) * margin;
  return [low - pad, high + pad];
}

/** Share of the way down a drawing: 0 at the top of the range. */
export const shareDown = (range: Range, z: number): number => (range[1] - z) / (range[1] - range[0]);

export const heightAtShare = (range: Range, share: number): number =>
  range[1] - share * (range[1] - range[0]);
