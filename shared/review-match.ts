/**
 * Which finding a review speaks of. A rebuilt folio may number its findings anew and measure a place a little
 * differently, so a review is matched by scan, kind, layer and place, never by number.
 */

/** What a finding must tell to be matched; a browser need not load the schemas for it. */
export interface Judged {
  readonly id: string;
  readonly kind: string;
  readonly layer: string;
  readonly centre_um: readonly [number, number];
  readonly box_um: readonly [number, number, number, number];
}

export interface Judgement {
  readonly scan: string;
  readonly kind: string;
  readonly layer: string;
  readonly x_um: number;
  readonly y_um: number;
  readonly date: string;
}

export interface Matched<R> {
  /** Reviews of each finding by its number, the oldest first. */
  readonly byFinding: ReadonlyMap<string, readonly R[]>;
  /** Reviews of this scan that speak of no finding of today. */
  readonly unmatched: readonly R[];
}

/** Pixels by which a place may wander from one build to the next. */
const WANDER_PX = 4;

/**
 * @param reviews of any scan; those of other scans are passed over
 * @param pixelUm of the scan's plates
 */
export function matchReviews<R extends Judgement>(
  scan: string,
  findings: readonly Judged[],
  reviews: readonly R[],
  pixelUm: number,
): Matched<R> {
  const byFinding = new Map<string, R[]>();
  const unmatched: R[] = [];
  for (const review of reviews) {
    if (review.scan !== scan) continue;
    let best: Judged | null = null;
    let least = Number.POSITIVE_INFINITY;
    for (const finding of findings) {
      if (finding.kind !== review.kind || finding.layer !== review.layer) continue;
      const away = Math.hypot(finding.centre_um[0] - review.x_um, finding.centre_um[1] - review.y_um);
      if (away < least && near(finding, review, WANDER_PX * pixelUm)) {
        best = finding;
        least = away;
      }
    }
    if (!best) unmatched.push(review);
    else byFinding.set(best.id, [...(byFinding.get(best.id) ?? []), review]);
  }
  for (const list of byFinding.values()) list.sort((a, b) => a.date.localeCompare(b.date));
  return { byFinding, unmatched };
}

function near({ box_um: [x0, y0, x1, y1] }: Judged, { x_um: x, y_um: y }: Judgement, slack: number): boolean {
  return x >= x0 - slack && x <= x1 + slack && y >= y0 - slack && y <= y1 + slack;
}
