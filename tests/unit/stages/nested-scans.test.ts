import { expect, it } from 'vitest';
import { outerScans, scanOrder } from '../../../pipeline/run/scan-order.ts';
import type { WorkVolume } from '../../../pipeline/stages/place/automatic/work-volume.ts';
import { centresInside, hinted, type Overview } from '../../../pipeline/stages/place/nested/overview.ts';
import { overviewStack } from '../../../pipeline/stages/place/nested/overview-stack.ts';
import { campaignSchema, scanSchema } from '../../../shared/artefacts/campaign.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';

const volume = { files: 'a/*.tif' };
const campaign = (scans: object[]) =>
  campaignSchema.safeParse({ stratafolio: 1, title: 'Nested', chip: { name: 'TGL-7' }, scans });

it('places an overview before what lies in it, at any depth of nesting', () => {
  const parsed = campaign([
    { id: 'finest', volume, inside: 'fine' },
    { id: 'top', image: { file: 't.png' }, pixel_nm: 100 },
    { id: 'fine', volume, inside: 'wide' },
    { id: 'wide', volume },
  ]);
  expect(scanOrder(parsed.data!).map(({ id }) => id)).toEqual(['wide', 'fine', 'finest', 'top']);
  const [finest] = parsed.data!.scans;
  expect(outerScans(parsed.data!, finest!).map(({ id }) => id)).toEqual(['wide', 'fine']);
});

it.each([
  [[{ id: 'a', volume, inside: 'b' }], 'the id of another volume; "b" is none'],
  [[{ id: 'a', volume, inside: 'a' }], 'an overview that does not lie in "a" itself'],
  [
    [
      { id: 'a', volume, inside: 'b' },
      { id: 'b', volume, inside: 'a' },
    ],
    'an overview that does not lie in "a" itself',
  ],
  [
    [
      { id: 'a', volume, inside: 't' },
      { id: 't', image: { file: 't.png' } },
    ],
    '"t" is a flat picture',
  ],
])('refuses an overview that is none: %j', (scans, words) => {
  expect(
    campaign(scans)
      .error?.issues.map(({ message }) => message)
      .join(),
  ).toContain(words);
});

/** 100 x 80 µm round (60, 50), upright. */
const OVERVIEW = {
  survey: { shape: { nx: 101, ny: 81, nz: 3 } },
  placement: {
    voxel_to_die_um: [
      [1, 0, 0, 10],
      [0, -1, 0, 90],
      [0, 0, 1, 0],
    ],
    warp: null,
  },
} as unknown as Overview;

it('looks for the middle of a fine scan where all but a rim of it lies in the overview', () => {
  // 20 µm wide: half of it less a fifth may not reach out, so the middle keeps 6 µm from the edge.
  expect(centresInside(OVERVIEW, 20)).toEqual([16, 16, 104, 84]);
});

it('keeps a hint that is narrower than the overview', () => {
  const scan = scanSchema.parse({ id: 'fine', volume, near_um: [30, 30], within_um: 2 });
  expect(hinted(scan, [16, 16, 104, 84])).toBe(scan);
  const free = scanSchema.parse({ id: 'fine', volume });
  expect(hinted(free, [16, 16, 104, 84])).toMatchObject({ near_um: [60, 50], within_um: 44 });
});

it('shows the image of the overview in the place of a layer of the drawing', () => {
  const process = processSchema.parse({
    name: 'one metal',
    layers: [{ name: 'metal1', role: 'conductor', bottom_um: 0.5, thickness_um: 1, drawn: ['1/0'] }],
  });
  const [nx, ny, nz] = [101, 81, 3];
  const voxels = new Float32Array(nx * ny * nz);
  // One bright column of voxels through all slices: i = 20, j = 30 lies at x = 30, y = 60.
  for (let k = 0; k < nz; k++) voxels[(k * ny + 30) * nx + 20] = 4;
  const work: WorkVolume = {
    ...{ nx, ny, nz, voxels, weight: new Float32Array(nx * ny).fill(1) },
    ...{ voxelUm: [1, 1, 1], binning: 1, slowUm: 5 },
  };
  const stack = overviewStack(OVERVIEW, work, process);
  const grid = { origin_um: [28, 62] as const, pixel_um: 1, width_px: 5, height_px: 5 };
  const seen = stack.render(stack.layers[0]!, grid);
  expect(seen.indexOf(Math.max(...seen))).toBe(2 * 5 + 2);
  expect(seen[12]).toBeCloseTo(1, 5);
  expect(seen.reduce((sum, v) => sum + v, 0)).toBeCloseTo(1, 5);
});
