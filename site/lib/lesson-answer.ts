/** Whether an answer is right, and how far off it is. Pure. */
import { windingNumber } from '../../shared/polygon.ts';
import type { PageAnswer } from './lesson-step.ts';

/** Offset from a point to the nearest place of a shape: a box (four numbers) or a polygon; [0, 0] inside. */
export function offsetTo(shape: readonly number[], x: number, y: number): readonly [number, number] {
  if (shape.length === 4) {
    const [x0, y0, x1, y1] = shape as readonly [number, number, number, number];
    return [Math.min(x1, Math.max(x0, x)) - x, Math.min(y1, Math.max(y0, y)) - y];
  }
  if (windingNumber(shape, x, y) !== 0) return [0, 0];
  let best: readonly [number, number] = [Infinity, Infinity];
  for (let n = 0, m = shape.length - 2; n < shape.length; m = n, n += 2) {
    const [ax, ay, bx, by] = [shape[m]!, shape[m + 1]!, shape[n]!, shape[n + 1]!];
    const [dx, dy] = [bx - ax, by - ay];
    const length2 = dx * dx + dy * dy;
    const t = length2 > 0 ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / length2)) : 0;
    const off = [ax + t * dx - x, ay + t * dy - y] as const;
    if (Math.hypot(...off) < Math.hypot(...best)) best = off;
  }
  return best;
}

export interface Judged {
  readonly right: boolean;
  /** From the click to the nearest right place, micrometres. */
  readonly offUm: readonly [number, number];
}

export function judgePlace(answer: Extract<PageAnswer, { kind: 'place' }>, xUm: number, yUm: number): Judged {
  let best: readonly [number, number] = [Infinity, Infinity];
  for (const shape of answer.shapes) {
    const off = offsetTo(shape, xUm, yUm);
    if (Math.hypot(...off) < Math.hypot(...best)) best = off;
  }
  return { right: Math.hypot(...best) <= answer.reachUm, offUm: best };
}

/** 0 inside the range of heights; else how far up (above 0) or down the right layer lies. */
export const depthOff = (answer: Extract<PageAnswer, { kind: 'depth' }>, zUm: number): number =>
  zUm < answer.fromUm ? answer.fromUm - zUm : zUm > answer.toUm ? answer.toUm - zUm : 0;

/** "to the right and up": the way to go, for a reader who sees the picture with Y up. */
export function wayWords([dx, dy]: readonly [number, number]): string {
  const across = dx > 0 ? 'right' : 'left';
  const along = dy > 0 ? 'up' : 'down';
  if (Math.abs(dx) > 2.4 * Math.abs(dy)) return `to the ${across}`;
  if (Math.abs(dy) > 2.4 * Math.abs(dx)) return along;
  return `${along} and to the ${across}`;
}
