/**
 * A place found in part of a drawing is held against the rest: where the drawing repeats, the true place may lie beside
 * what was searched, and what was found inside be a copy of it. What the best places say of height, order and scale is
 * taken as known, so that the rest costs little.
 */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { DrawnStack } from './drawing.ts';
import { type LayoutPictures, layoutPictures } from './layout-pictures.ts';
import type { Hypothesis } from './orientation.ts';
import { search } from './search.ts';
import type { Apart } from './top-list.ts';
import type { WorkVolume } from './work-volume.ts';

export interface BeyondInput {
  readonly work: WorkVolume;
  readonly frame: Affine3;
  readonly stack: DrawnStack;
  /** Where the middle of the scan was looked for, and where it could lie. */
  readonly centresUm: Box;
  readonly layoutUm: Box;
  readonly pixelUm: number;
  readonly binUm: number;
  readonly apart: Apart;
  /** The best places inside. */
  readonly inside: readonly Pick<Hypothesis, 'rising' | 'z' | 'scale'>[];
  readonly signs: readonly (1 | -1)[];
  readonly threads: number;
  readonly signal?: AbortSignal;
}

/** So many fields to every side are looked at. */
const REACH_FIELDS = 14;
/** Places beyond that are brought back. */
const KEEP = 12;

/** What of the layout lies within reach of what was searched; null where all of that was searched. */
export function beyondBox({
  work,
  centresUm,
  layoutUm,
}: Pick<BeyondInput, 'work' | 'centresUm' | 'layoutUm'>): Box | null {
  const field = Math.max(work.nx * work.voxelUm[0], work.ny * work.voxelUm[1]);
  const [cx, cy] = [(centresUm[0] + centresUm[2]) / 2, (centresUm[1] + centresUm[3]) / 2];
  const reach = REACH_FIELDS * field;
  const box: Box = [
    Math.min(centresUm[0], Math.max(layoutUm[0], cx - reach)),
    Math.min(centresUm[1], Math.max(layoutUm[1], cy - reach)),
    Math.max(centresUm[2], Math.min(layoutUm[2], cx + reach)),
    Math.max(centresUm[3], Math.min(layoutUm[3], cy + reach)),
  ];
  const grown = box.some((side, n) => Math.abs(side - centresUm[n]!) > work.voxelUm[0]);
  return grown ? box : null;
}

/** @returns places outside what was searched, best first, and the drawing they were found in; null where there is no outside */
export async function lookBeyond(
  input: BeyondInput,
  grid: (box: Box, pixelUm: number) => Parameters<typeof layoutPictures>[1],
): Promise<{ readonly found: readonly Hypothesis[]; readonly layout: LayoutPictures } | null> {
  const { work, frame, stack, centresUm, binUm, apart, threads, signs } = input;
  const box = beyondBox(input);
  if (!box || input.inside.length === 0) return null;
  const layout = layoutPictures(stack, grid(box, input.pixelUm), work.slowUm);
  if (layout.layers.length < 2) return null;
  const scales = [...new Set(input.inside.map((h) => h.scale))];
  const heights = input.inside
    .map(({ rising, z }) => ({ rising, z }))
    .filter((h, n, all) => all.findIndex((g) => g.rising === h.rising && Math.abs(g.z - h.z) < 0.1) === n);
  const { found } = await search({
    ...{ work, frame, layout, centresUm: box, scales, signs, binUm, apart, keep: KEEP, threads, heights },
    ...(input.signal ? { signal: input.signal } : {}),
  });
  return { found: found.filter((h) => !inBox(centresUm, h.x, h.y)), layout };
}

export const inBox = ([x0, y0, x1, y1]: Box, x: number, y: number): boolean =>
  x >= x0 && x <= x1 && y >= y0 && y <= y1;

/** Whether a place lies at a border of what was searched that is no border of the layout. */
export function atBorder(centresUm: Box, layoutUm: Box, x: number, y: number, nearUm: number): boolean {
  const sides = [x - centresUm[0], y - centresUm[1], centresUm[2] - x, centresUm[3] - y];
  const inner = [
    centresUm[0] > layoutUm[0],
    centresUm[1] > layoutUm[1],
    centresUm[2] < layoutUm[2],
    centresUm[3] < layoutUm[3],
  ];
  return sides.some((d, n) => inner[n]! && d < nearUm);
}
