/** When a place may be called locked, and what overrules that. */
import { describe, expect, it } from 'vitest';
import { type Agreement, pairedRank } from '../../../pipeline/stages/place/automatic/agreement.ts';
import type { Hypothesis } from '../../../pipeline/stages/place/automatic/orientation.ts';
import { TopList } from '../../../pipeline/stages/place/automatic/top-list.ts';
import { judge } from '../../../pipeline/stages/place/automatic/verdict.ts';
import { withMeasuredHeights } from '../../../pipeline/stages/place/find-place.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';

/** An agreement of five layers with the same correlation, spread over 36 patches as the weights say. */
function agreement(
  correlation: number,
  given: { weights?: number[]; agreeing?: number; group?: number; layers?: number } = {},
): Agreement {
  const count = given.layers ?? 5;
  const weights = given.weights ?? Array.from({ length: 36 }, (_, n) => 1 + (n % 5) / 10);
  const all = weights.reduce((a, b) => a + b, 0);
  const square = count * correlation ** 2;
  return {
    layers: Array.from({ length: count }, (_, n) => ({ name: `layer${n}`, correlation })),
    strength: Math.sqrt(square),
    byPatch: Float64Array.from(weights, (w) => (square * w) / all),
    groups: [
      { layers: [], patches: 20, agreeing: Math.round(20 * (given.agreeing ?? 1)) },
      { layers: [], patches: 20, agreeing: 20 },
      { layers: [], patches: 20, agreeing: Math.round(20 * (given.group ?? 1)) },
    ],
    residualsUm: [],
    cells: [],
  };
}

const DECOYS = Array.from({ length: 15 }, (_, n) => 0.5 + 0.01 * n);
const verdict = (best: Agreement, rivals: Agreement[], found = 1.4) =>
  judge(
    { tried: { agreement: best, middle: [10, 20, 1] }, finest: best, found },
    rivals.map((rival) => ({ agreement: rival, middle: [10, 23.5, 1] })),
    DECOYS,
  );

describe('verdict', () => {
  it('locks a place that stands clear', () => {
    expect(verdict(agreement(0.6), [agreement(0.3)]).verdict).toBe('locked');
  });

  it('calls a place with an equal rival ambiguous and names the step', () => {
    const { verdict: said, doubts } = verdict(agreement(0.6), [agreement(0.599)]);
    expect(said).toBe('ambiguous');
    expect(doubts.join()).toMatch(/0\.00, 3\.50 µm away/);
  });

  it('locks against an equal rival that shapes tell apart, and not while another remains', () => {
    const judged = (toldBy: (number | undefined)[]) =>
      judge(
        { tried: { agreement: agreement(0.6), middle: [10, 20, 1] }, finest: agreement(0.6), found: 1.4 },
        toldBy.map((count, n) => ({
          ...{ agreement: agreement(0.599 - 0.001 * n), middle: [10, 23.5 + 3.5 * n, 1] },
          ...(count === undefined ? {} : { toldBy: count }),
        })),
        DECOYS,
      );
    expect(judged([7, 5]).verdict).toBe('locked');
    expect(judged([7, 5]).evidence).toMatchObject({ toldBy: 7 });
    expect(judged([7, undefined]).verdict).toBe('ambiguous');
    // The doubt names the place that remains.
    expect(judged([7, undefined]).doubts.join()).toMatch(/0\.00, 7\.00 µm away/);
  });

  it('does not lock on a near rival that is beaten in one corner only', () => {
    const even = Array.from({ length: 36 }, () => 1);
    const corner = even.map((w, n) => (n < 3 ? w + 2 : w));
    const best = agreement(0.6, { weights: corner });
    const rival = agreement(0.6 * Math.sqrt(36 / 42), { weights: even });
    expect(verdict(best, [rival]).evidence.rival).toBeCloseTo(0.926, 2);
    expect(verdict(best, [rival]).verdict).toBe('ambiguous');
  });

  it('does not lock where a group of layers contradicts, where few layers speak, or where decoys do as well', () => {
    const weak = [agreement(0.3)];
    expect(verdict(agreement(0.6, { group: 0.2 }), weak).verdict).toBe('ambiguous');
    expect(verdict(agreement(0.6, { layers: 3 }), [agreement(0.2, { layers: 3 })]).verdict).toBe('ambiguous');
    expect(verdict(agreement(0.6), weak, 0.6).verdict).toBe('ambiguous');
  });

  it('leaves a place unplaced that its own patches do not find, or that hardly agrees', () => {
    expect(verdict(agreement(0.6, { agreeing: 0.3 }), [agreement(0.3)]).verdict).toBe('unplaced');
    expect(verdict(agreement(0.2), [agreement(0.1)]).verdict).toBe('unplaced');
    expect(judge(null, [], DECOYS).verdict).toBe('unplaced');
  });

  it('takes the lock back where no layer holds once its height is measured', () => {
    const placement = {
      source: 'automatic',
      verdict: 'locked',
      warp: null,
      doubts: [],
    } as unknown as Placement;
    expect(withMeasuredHeights(placement, null).verdict).toBe('ambiguous');
    const byHand = { ...placement, source: 'landmarks' } as Placement;
    expect(withMeasuredHeights(byHand, null)).toBe(byHand);
  });
});

describe('paired ranks', () => {
  it('follow the published normal approximation', () => {
    // All of n differences positive: W = n (n + 1) / 2, so z = sqrt(n (n + 1) 3 / (2 (2 n + 1))). From the formula.
    const z = pairedRank(agreement(0.6), agreement(0.3));
    expect(z).toBeCloseTo(Math.sqrt((36 * 37 * 3) / (2 * 73)), 6);
    expect(pairedRank(agreement(0.6), agreement(0.6))).toBe(0);
  });
});

describe('list of the best places', () => {
  const place = (x: number, score: number, z = 0): Hypothesis => ({
    ...{ orientation: 0, rising: 1, scale: 1, x, y: 0, z, sign: 1, score },
  });

  it('keeps each place once, at its best, and no more than asked for', () => {
    const list = new TopList(2, { planeUm: 1, heightUm: 0.5 });
    for (const p of [place(0, 1), place(0.4, 3), place(0.8, 2), place(5, 2.5), place(9, 1.5)]) list.add(p);
    expect(list.best().map((p) => [p.x, p.score])).toEqual([
      [0.4, 3],
      [5, 2.5],
    ]);
    expect(list.threshold).toBe(2.5);
  });

  it('holds heights apart', () => {
    const list = new TopList(5, { planeUm: 1, heightUm: 0.5 });
    list.add(place(0, 1, 0));
    list.add(place(0, 2, 0.6));
    expect(list.best()).toHaveLength(2);
  });
});
