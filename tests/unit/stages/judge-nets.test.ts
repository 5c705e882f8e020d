/** When nets are judged at all, and which doubts go with it. */
import { describe, expect, it } from 'vitest';
import { judgeNets } from '../../../pipeline/stages/connect/judge-nets.ts';
import { traceWindow } from '../../../pipeline/stages/connect/trace-window.ts';
import type { Findings } from '../../../shared/artefacts/findings.ts';
import { type DrawnCell, drawLayout, L, METALS, WIDE } from '../../fixtures/nets/draw-layout.ts';
import { finding } from '../../fixtures/nets/finding.ts';

const inField = () => false;
const findings = (...list: Findings['findings']): Findings => ({
  version: 1,
  judged_area_um2: {},
  findings: list,
  fill: [],
});

const cell: DrawnCell = {
  name: 'TOP',
  boxes: [
    [L.contact, 100, 100, 300, 300],
    [L.metal1, 0, 0, 3000, 400],
    [L.via1, 2700, 100, 2900, 300],
    [L.metal2, 2600, 0, 9000, 400],
  ],
  labels: [['gauge', L.metal2, 8900, 200]],
};

describe('nets', () => {
  it('are judged only on a certain place and where findings are given', async () => {
    const traced = traceWindow(await drawLayout([cell]), 'TOP', METALS, WIDE);
    const gone = findings(finding('missing-via', 'via1', [2700, 100, 2900, 300]));
    const certain = judgeNets(traced, gone, { verdict: 'locked' }, inField);
    expect(certain).toMatchObject({ judged: true, doubts: [] });
    expect(certain.opens).toHaveLength(1);
    for (const verdict of ['ambiguous', 'unplaced'] as const) {
      const doubtful = judgeNets(traced, gone, { verdict }, inField);
      expect(doubtful).toMatchObject({ judged: false, opens: [], shorts: [] });
      expect(doubtful.doubts).toEqual([
        'Opens and shorts were not looked for: it is not certain where on the die the scan lies.',
      ]);
    }
    expect(judgeNets(traced, null, { verdict: 'locked' }, inField)).toMatchObject({
      judged: false,
      doubts: [],
    });
  });

  it('are said to be in doubt where a missing via leads to silicon', async () => {
    const traced = traceWindow(await drawLayout([cell]), 'TOP', METALS, WIDE);
    const gone = findings(finding('missing-via', 'contact', [100, 100, 300, 300]));
    const { opens, doubts } = judgeNets(traced, gone, { verdict: 'locked' }, inField);
    expect(opens).toEqual([]);
    expect(doubts).toHaveLength(1);
    expect(doubts[0]).toMatch(/^One missing via leads to something that is no conductor/);
  });
});

describe('a window', () => {
  it('lends its pieces the names they have on the whole chip', async () => {
    const traced = traceWindow(await drawLayout([cell]), 'TOP', METALS, [0, 0, 1, 1]);
    expect(traced.drawn.nets.map(({ name, from, shapes }) => [name, from, shapes.length])).toEqual([
      ['gauge', 'label', 2],
    ]);
    expect(traced.drawn.netsAt('metal1', [0, 0, 1, 1])).toEqual(['gauge']);
    expect(traced.whole!.nets[0]!.shapes).toHaveLength(4);
  });
});
