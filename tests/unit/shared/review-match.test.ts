/** Reviews find their findings again after the numbers and the places have changed a little. */
import { describe, expect, it } from 'vitest';
import { matchReviews } from '../../../shared/review-match.ts';

const finding = (id: string, kind: string, layer: string, x: number, y: number, half = 0.1) => ({
  id,
  kind,
  layer,
  centre_um: [x, y] as const,
  box_um: [x - half, y - half, x + half, y + half] as const,
});
const review = (kind: string, layer: string, x: number, y: number, date = '2026-01-01', scan = 'a') => ({
  scan,
  kind,
  layer,
  x_um: x,
  y_um: y,
  date,
});
const findings = [
  finding('F0001', 'missing-via', 'via2', 10, 10),
  finding('F0002', 'missing-via', 'via2', 10.5, 10),
  finding('F0003', 'extra-shape', 'metal1', 10, 10, 1),
];

describe('matchReviews', () => {
  it('takes the nearest of the same kind and layer, whatever its number', () => {
    const one = review('missing-via', 'via2', 10.32, 10);
    const { byFinding, unmatched } = matchReviews('a', findings, [one], 0.05);
    expect([...byFinding]).toEqual([['F0002', [one]]]);
    expect(unmatched).toEqual([]);
  });

  it('never crosses kinds, layers or scans', () => {
    const wrongKind = review('extra-via', 'via2', 10, 10);
    const wrongLayer = review('missing-via', 'via1', 10, 10);
    const elsewhere = review('missing-via', 'via2', 10, 10, '2026-01-01', 'b');
    const { byFinding, unmatched } = matchReviews('a', findings, [wrongKind, wrongLayer, elsewhere], 0.05);
    expect(byFinding.size).toBe(0);
    expect(unmatched).toEqual([wrongKind, wrongLayer]);
  });

  it('lets a place wander by four pixels and no more', () => {
    // Half a box of 0.1 µm and four pixels of 0.05 µm: up to 0.3 µm from the centre.
    const inside = review('missing-via', 'via2', 9.701, 10);
    const outside = review('missing-via', 'via2', 9.699, 10);
    expect(matchReviews('a', findings, [inside], 0.05).unmatched).toEqual([]);
    expect(matchReviews('a', findings, [outside], 0.05).unmatched).toEqual([outside]);
  });

  it('keeps several reviews of one finding, the oldest first', () => {
    const later = review('extra-shape', 'metal1', 10, 10, '2026-02-01');
    const earlier = review('extra-shape', 'metal1', 10.4, 9.8, '2026-01-05');
    expect(matchReviews('a', findings, [later, earlier], 0.05).byFinding.get('F0003')).toEqual([
      earlier,
      later,
    ]);
  });
});
