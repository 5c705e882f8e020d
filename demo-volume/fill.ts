/** Fill: squares that the fab adds where a metal is sparse, on a regular pitch, clear of everything drawn. */
import { boxesMeet, grown } from './field.ts';
import type { Connectivity } from './layout/connectivity.ts';
import type { Box } from './layout/flatten.ts';

export interface FillRule {
  readonly layer: string;
  readonly sizeUm: number;
  readonly pitchUm: number;
  readonly keepAwayUm: number;
}

export interface PlacedFill extends FillRule {
  /** Lower left corners on the pitch through this point. */
  readonly originUm: readonly [number, number];
  readonly squares: readonly Box[];
}

/** Squares of one rule inside `region`, away from the drawn shapes of the layer and from the boxes in `avoid`. */
export function placeFill(
  rule: FillRule,
  drawn: Connectivity,
  region: Box,
  avoid: readonly Box[],
): PlacedFill {
  const { sizeUm, pitchUm, keepAwayUm } = rule;
  const margin = (pitchUm - sizeUm) / 2;
  const squares: Box[] = [];
  const first = (low: number): number => Math.ceil((low - margin) / pitchUm);
  for (let row = first(region[1]); ; row++) {
    const y = row * pitchUm + margin;
    if (y + sizeUm > region[3]) break;
    for (let column = first(region[0]); ; column++) {
      const x = column * pitchUm + margin;
      if (x + sizeUm > region[2]) break;
      const box: Box = [x, y, x + sizeUm, y + sizeUm];
      const wide = grown(box, keepAwayUm);
      if (drawn.near(rule.layer, wide).length > 0 || avoid.some((a) => boxesMeet(a, wide))) continue;
      squares.push(box);
    }
  }
  return { ...rule, originUm: [margin, margin], squares };
}
