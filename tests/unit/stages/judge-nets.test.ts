/** When nets are judged at all, and which doubts go with it. */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { judgeNets } from '../../../pipeline/stages/connect/judge-nets.ts';
import { traceWindow } from '../../../pipeline/stages/connect/trace-window.ts';
import { writeNets } from '../../../pipeline/stages/connect/write-nets.ts';
import type { Findings } from '../../../shared/artefacts/findings.ts';
import { netsSchema } from '../../../shared/artefacts/nets.ts';
import { type DrawnCell, drawLayout, L, METALS, WIDE } from '../../fixtures/nets/draw-layout.ts';
import { finding } from '../../fixtures/nets/finding.ts';

const inField = () => false;
const findings = (...list: Findings['findings']): Findings => ({
  version: 1,
  judged_area_um2: {},
  findings: list,
  fill: [],
  bias: [],
  doubts: [],
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

describe('nets.json', () => {
  it('carries opens with their places and pieces', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'stratafolio-judged-'));
    try {
      const layout = await drawLayout([cell]);
      const traced = traceWindow(layout, 'TOP', METALS, [0, 0, 10, 10]);
      const grid = { origin_um: [0.05, 9.95], pixel_um: 0.1, width_px: 100, height_px: 100 } as const;
      const scan = {
        ...{ id: 'fine', grid, portraits: [], placement: { verdict: 'locked' as const } },
        layers: { version: 1 as const, basis: 'nominal' as const, layers: [], plates: [] },
        findings: findings(finding('missing-via', 'via1', [2700, 100, 2900, 300], 0.75)),
      };
      await writeNets(traced, scan, layout, 'TOP', folder, silentProgress);
      const nets = netsSchema.parse(JSON.parse(readFileSync(join(folder, 'nets.json'), 'utf8')));
      expect(nets).toMatchObject({ judged: true, shorts: [], doubts: [] });
      expect(nets.opens).toMatchObject([
        {
          nets: ['gauge'],
          probability: 0.75,
          places: [{ layer: 'via1', centre_um: [2.8, 0.2], finding: scan.findings.findings[0]!.id }],
          pieces: [{ layers: ['contact', 'metal1'] }, { layers: ['metal2'] }],
        },
      ]);
      expect(nets.nets[0]).toMatchObject({ name: 'gauge', imaged: 'unjudged' });
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});
