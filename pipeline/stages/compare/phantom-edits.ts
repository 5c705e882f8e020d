/**
 * Phantom edits: the drawing is changed where the image is sound, so that the image now seems to be at fault.
 *
 * | fault that is stood for | edit of the drawing |
 * | missing-shape, missing-via | a square, a via is drawn where the image has none |
 * | open | a strap is drawn between two conductors that are apart: the image does not connect them |
 * | narrow | a strip is drawn along an edge: the image's metal ends before it |
 * | extra-shape, extra-via | a square of drawn metal, a drawn via is taken out: the image still has it |
 * | bridge | a slot is cut through a drawn wire: the image still connects its two sides |
 * | wide | a strip along an edge is taken out: the image's metal reaches past the edge |
 * | shifted | a drawn via is moved: the image has it beside its place |
 */

import type { Ground } from './box-fit.ts';
import { clip, grow, type PixelBox } from './canvas.ts';
import type { FindingKind, LayerContext } from './classify.ts';

export interface PhantomEdit {
  readonly kind: FindingKind;
  readonly sizePx: number;
  /** Boxes of pixels that the drawing gains (1) or loses (-1). */
  readonly boxes: readonly { readonly box: PixelBox; readonly by: 1 | -1 }[];
  /** Where a comparison must find it. */
  readonly place: PixelBox;
  readonly ground: Ground;
}

/** Sizes in pixels, from one voxel up. */
export const SIZES_PX = [1, 2, 3, 5, 8, 12];
const TRIES = 6000;

export const kindsFor = (role: LayerContext['role']): FindingKind[] =>
  role === 'via'
    ? ['missing-via', 'extra-via', 'shifted']
    : ['missing-shape', 'open', 'narrow', 'extra-shape', 'bridge', 'wide'];

/** Draws places until one suits; null where the layer seems to offer none. `free` is 1 where edits may lie. */
export function plantEdit(
  kind: FindingKind,
  sizePx: number,
  context: LayerContext,
  free: Uint8Array,
  viaPx: number,
  random: () => number,
): PhantomEdit | null {
  const { field } = context;
  for (let n = 0; n < TRIES; n++) {
    const x = Math.floor(random() * field.width);
    const y = Math.floor(random() * field.height);
    if (free[y * field.width + x] === 0) continue;
    const edit = tryAt(kind, sizePx, x, y, context, viaPx);
    if (edit && covers(free, field.width, clip(edit.place, field), 1)) return edit;
  }
  return null;
}

function tryAt(
  kind: FindingKind,
  s: number,
  x: number,
  y: number,
  { field }: LayerContext,
  viaPx: number,
): PhantomEdit | null {
  const { width, drawn, known } = field;
  const square = (side: number): PixelBox => ({ x0: x, y0: y, x1: x + side, y1: y + side });
  const added = (box: PixelBox): PhantomEdit => ({
    kind,
    sizePx: s,
    boxes: [{ box, by: 1 }],
    place: box,
    ground: 'metal',
  });
  const taken = (box: PixelBox): PhantomEdit => ({
    kind,
    sizePx: s,
    boxes: [{ box, by: -1 }],
    place: box,
    ground: 'gap',
  });
  const metal = (px: number, py: number): boolean =>
    px >= 0 && py >= 0 && px < width && py < field.height && drawn[py * width + px]! > 0.9;
  switch (kind) {
    case 'missing-shape':
    case 'missing-via': {
      const box = square(s);
      return covers(known, width, clip(grow(box, 4), field), 0) ? added({ ...box }) : null;
    }
    case 'extra-shape': {
      const box = square(s);
      return covers(drawn, width, clip(box, field), 1) ? taken(box) : null;
    }
    case 'extra-via':
    case 'shifted': {
      const via = runBox(metal, x, y, 3 * viaPx);
      if (!via) return null;
      const whole = grow(via, 1);
      if (kind === 'extra-via') return taken(whole);
      return {
        ...taken(whole),
        boxes: [
          { box: whole, by: -1 },
          { box: { ...via, x0: via.x0 + s, x1: via.x1 + s }, by: 1 },
        ],
        place: { ...whole, x1: whole.x1 + s },
      };
    }
    case 'open':
    case 'bridge': {
      // Across rows or columns, by the pixel's parity, so that both directions are tried.
      const across = runAcross(metal, x, y, kind === 'open', (x + y) % 2 === 0);
      if (!across) return null;
      const { horizontal, from, to } = across;
      const box = horizontal
        ? { x0: from, x1: to, y0: y, y1: y + s }
        : { x0: x, x1: x + s, y0: from, y1: to };
      const inner = clip(box, field);
      const rim = grow(inner, 1);
      if (kind === 'open')
        return covers(known, width, inner, 0, 0.6)
          ? added(horizontal ? { ...inner, x0: rim.x0, x1: rim.x1 } : { ...inner, y0: rim.y0, y1: rim.y1 })
          : null;
      return covers(drawn, width, inner, 1, 0.6)
        ? taken(horizontal ? { ...inner, x0: rim.x0, x1: rim.x1 } : { ...inner, y0: rim.y0, y1: rim.y1 })
        : null;
    }
    case 'narrow':
    case 'wide': {
      const length = 12;
      // A straight edge along the rows or the columns, by the pixel's parity: metal on one line, none on the next but one.
      const rows = (x + y) % 2 === 0;
      const [u, v] = rows ? [x, y] : [y, x];
      const metalAt = (along: number, across: number): boolean =>
        rows ? metal(along, across) : metal(across, along);
      for (const down of [1, -1]) {
        let straight = true;
        for (let k = 0; k < length && straight; k++)
          straight = metalAt(u + k, v) && !metalAt(u + k, v + 2 * down);
        if (!straight) continue;
        const strip = (from: number, to: number): PixelBox => {
          const [low, high] = [Math.min(from, to), Math.max(from, to)];
          return rows
            ? { x0: u, x1: u + length, y0: low, y1: high }
            : { x0: low, x1: high, y0: u, y1: u + length };
        };
        const edge = down === 1 ? v + 1 : v;
        if (kind === 'narrow') {
          const box = clip(strip(edge, edge + down * s), field);
          return covers(known, width, clip(grow(strip(edge + 2 * down, edge + down * (s + 3)), 0), field), 0)
            ? added(box)
            : null;
        }
        const box = clip(strip(edge, edge - down * s), field);
        return covers(drawn, width, clip(strip(edge - down * s, edge - down * (s + 3)), field), 1)
          ? taken(box)
          : null;
      }
      return null;
    }
    default:
      return null;
  }
}

/** Whether all pixels of a box are at least (1) or at most (0) covered, within a slack. */
function covers(values: ArrayLike<number>, width: number, box: PixelBox, what: 0 | 1, slack = 0.15): boolean {
  if (box.x1 <= box.x0 || box.y1 <= box.y0) return false;
  for (let y = box.y0; y < box.y1; y++)
    for (let x = box.x0; x < box.x1; x++) {
      const v = values[y * width + x]!;
      if (what === 1 ? v < 1 - slack : v > slack) return false;
    }
  return true;
}

/** Box of the metal around a pixel, by its row and its column. */
function runBox(
  metal: (x: number, y: number) => boolean,
  x: number,
  y: number,
  most: number,
): PixelBox | null {
  if (!metal(x, y)) return null;
  let [x0, x1, y0, y1] = [x, x + 1, y, y + 1];
  while (metal(x0 - 1, y) && x - x0 < most) x0--;
  while (metal(x1, y) && x1 - x < most) x1++;
  while (metal(x, y0 - 1) && y - y0 < most) y0--;
  while (metal(x, y1) && y1 - y < most) y1++;
  return x1 - x0 < most && y1 - y0 < most ? { x0, y0, x1, y1 } : null;
}

/** A gap between metal, or metal between gaps, through a pixel: along its row or its column. */
function runAcross(
  metal: (x: number, y: number) => boolean,
  x: number,
  y: number,
  gap: boolean,
  horizontal: boolean,
): { horizontal: boolean; from: number; to: number } | null {
  const most = 24;
  const at = (k: number): boolean => (horizontal ? metal(x + k, y) : metal(x, y + k));
  if (at(0) === gap) return null;
  let low = 0;
  let high = 1;
  while (at(low - 1) !== gap && -low < most) low--;
  while (at(high) !== gap && high < most) high++;
  if (-low >= most || high >= most) return null;
  const base = horizontal ? x : y;
  return { horizontal, from: base + low, to: base + high };
}
