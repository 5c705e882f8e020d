import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { describeScan } from '../../../pipeline/stages/survey/describe/describe-scan.ts';
import { doubtsIn, printed, row, table } from '../../../pipeline/stages/survey/describe/entries.ts';
import type { LoadedLayout } from '../../../pipeline/stages/survey/load-layout.ts';
import { scanSchema } from '../../../shared/artefacts/campaign.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';

const folder = mkdtempSync(join(tmpdir(), 'describe-'));
afterAll(() => rmSync(folder, { recursive: true }));
writeFileSync(join(folder, 'v.raw'), new Uint8Array(8 * 16 * 20));

const PROCESS = processSchema.parse({
  name: 'two metals',
  layers: [{ name: 'metal1', role: 'conductor', bottom_um: 1, thickness_um: 0.5, drawn: ['21/0'] }],
  rules: { metal1: { width_um: 0.14 } },
});
/** What the description needs of a layout: 100 µm square. */
const LAYOUT = { boxUm: [0, 0, 100, 100] } as unknown as LoadedLayout;

async function told(more: object): Promise<{ text: string; doubts: number }> {
  const scan = scanSchema.parse({
    id: 'fine',
    volume: { raw: 'v.raw', shape: [8, 16, 20], dtype: 'uint8' },
    ...more,
  });
  const entries = await describeScan({ folder, process: PROCESS, allowOutside: false }, LAYOUT, scan);
  return {
    text: printed(entries)
      .join('\n')
      .replaceAll(/\n {18}/g, ' '),
    doubts: doubtsIn(entries),
  };
}

it('finds nothing to doubt in a sound scan, and says where it will be looked for', async () => {
  const { text, doubts } = await told({ voxel_nm: 50, near_um: [50, 50] });
  expect(doubts).toBe(0);
  expect(text).toContain('looked for near x 50, y 50 µm');
  expect(text).toContain('1.00 x 0.80 µm, 0.40 µm deep');
  expect(text).toContain('at most 80 % of the stack');
  expect(text).toContain('is 2.8 voxels');
});

it.each([
  ['a hint outside the drawing', { voxel_nm: 50, near_um: [400, 50] }, 'lies 300.0 µm outside the drawing'],
  ['voxels too large for the rules', { voxel_nm: 80, near_um: [50, 50] }, 'is 1.8 voxels: too few'],
  [
    'a drawing too wide to be searched',
    { voxel_nm: 50 },
    'The drawing is 100 scans wide, and 40 are searched',
  ],
])('doubts %s', async (_, more, words) => {
  const { text, doubts } = await told(more);
  expect(doubts).toBe(1);
  expect(text).toContain(words);
});

it('doubts a voxel size in the wrong unit', async () => {
  expect((await told({ voxel_nm: 50_000 })).text).toContain('Is the voxel size in nanometres');
});

it('keeps to a hundred columns and sets numbers flush right', () => {
  const lines = printed([
    row('note', 'word '.repeat(60).trim()),
    table(
      ['drawn', 'shapes'],
      [
        ['21/0', '5'],
        ['21/7', '36,181'],
      ],
    ),
  ]);
  expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(100);
  expect(lines.slice(-3)).toEqual(['  drawn   shapes', '  21/0         5', '  21/7    36,181']);
});
