/** What the drawing says along a path: spans of the render's coverage, placed by area, which no threshold moves. */
import { meanProfile, sampleBand } from '../../../shared/profile/band.ts';
import { findEdges } from '../../../shared/profile/find-edges.ts';
import { type Path, type Sense, spansOf } from '../../../shared/profile/gauge.ts';
import type { Sampler } from '../../../shared/profile/sampler.ts';

export interface DrawnSpan {
  /** Along the path, pixels. */
  readonly leftPx: number;
  readonly rightPx: number;
}

/** Grey of a render where all of a pixel is drawn. */
const FULL = 255;

/**
 * Drawn spans on a path.
 * @param covered coverage of the pixels, 0 to 255
 * @param sense bright: what is drawn; dark: what is left between
 */
export function drawnSpans(
  covered: Sampler,
  { from, to }: Pick<Path, 'from' | 'to'>,
  sense: Sense,
): DrawnSpan[] {
  const profile = meanProfile(sampleBand(covered, from, to, 3));
  if (!profile) return [];
  const edges = findEdges(profile, 0.5);
  const end = (profile.values.length - 1) * profile.stepPx;
  return spansOf(edges, sense).flatMap((n) => {
    const [left, right] = [edges[n]!.atPx, edges[n + 1]!.atPx];
    // From the middle of the span before to the middle of the span behind: all of this one, and nothing else.
    const start = n > 0 ? (edges[n - 1]!.atPx + left) / 2 : Math.max(0, left - 4);
    const stop = edges[n + 2] ? (right + edges[n + 2]!.atPx) / 2 : Math.min(end, right + 4);
    let width = 0;
    let moment = 0;
    for (let s = Math.ceil(start / profile.stepPx); s <= Math.floor(stop / profile.stepPx); s++) {
      const share = profile.values[s]! / FULL;
      const inside = (sense === 'bright' ? share : 1 - share) * profile.stepPx;
      width += inside;
      moment += inside * s * profile.stepPx;
    }
    if (!(width > 0.3)) return [];
    const middle = moment / width;
    return [{ leftPx: middle - width / 2, rightPx: middle + width / 2 }];
  });
}

/** The drawn span that lies over an imaged one; null where none does, or its middle is further off than half its width. */
export function drawnBeside(spans: readonly DrawnSpan[], imaged: DrawnSpan): DrawnSpan | null {
  const middle = (imaged.leftPx + imaged.rightPx) / 2;
  const off = (span: DrawnSpan) => Math.abs((span.leftPx + span.rightPx) / 2 - middle);
  const nearest = spans.reduce<DrawnSpan | null>(
    (best, span) => (best && off(best) <= off(span) ? best : span),
    null,
  );
  if (!nearest) return null;
  return off(nearest) < Math.max(nearest.rightPx - nearest.leftPx, imaged.rightPx - imaged.leftPx) / 2
    ? nearest
    : null;
}
