/** A judgement held against what the campaign says of the place, and against the border of what was searched. */
import type { Box } from '../../../../shared/polygon.ts';
import { atBorder, inBox } from './beyond.ts';
import type { Judgement } from './verdict.ts';

/** A place that the campaign contradicts is not locked, however well it fits: one of the two is wrong. */
export function againstSaid(judgement: Judgement, said: Box | null, middle: readonly number[]): Judgement {
  if (!said || judgement.verdict === 'unplaced' || inBox(said, middle[0]!, middle[1]!)) return judgement;
  const off = [middle[0]! - (said[0] + said[2]) / 2, middle[1]! - (said[1] + said[3]) / 2];
  return {
    ...judgement,
    verdict: 'ambiguous',
    doubts: [
      `The best place lies ${off.map((v) => v.toFixed(1)).join(', ')} µm (x, y) from near_um, farther than within_um allows. ` +
        'Correct or remove near_um, or give landmarks.',
      ...judgement.doubts,
    ],
  };
}

/** A place beside or at the border of what was searched is not locked: a better one may lie beyond. */
export function againstBorder(
  judgement: Judgement,
  { centresUm, layoutUm }: { readonly centresUm: Box; readonly layoutUm: Box },
  [x, y]: readonly [number, number, number],
  nearUm: number,
): Judgement {
  if (judgement.verdict !== 'locked' || !atBorder(centresUm, layoutUm, x, y, nearUm)) return judgement;
  return {
    ...judgement,
    verdict: 'ambiguous',
    doubts: [
      `The best place (${x.toFixed(1)}, ${y.toFixed(1)} µm) lies outside or at the border of the region that was searched ` +
        `(${centresUm.map((v) => v.toFixed(1)).join(', ')} µm). Correct or widen near_um and within_um, or give landmarks.`,
      ...judgement.doubts,
    ],
  };
}
