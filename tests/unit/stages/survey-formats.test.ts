/** The survey of a scan that is no TIFF stack: metadata from the file, and what happens where campaign.yaml disagrees. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { describeScan } from '../../../pipeline/stages/survey/describe/describe-scan.ts';
import { printed } from '../../../pipeline/stages/survey/describe/entries.ts';
import { greyUnit, surveyScan, voxelSize } from '../../../pipeline/stages/survey/survey-scan.ts';
import { volumeSpec } from '../../../pipeline/stages/survey/volume-spec.ts';
import { type CampaignScan, scanSchema } from '../../../shared/artefacts/campaign.ts';
import { imageJson, PACKERS, put, putShards, shardJson } from '../../fixtures/volume/hand-made-zarr.ts';

const folder = mkdtempSync(join(tmpdir(), 'survey-formats-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
beforeAll(() => {
  put(join(folder, 'scan.zarr'), 'zarr.json', imageJson());
  put(join(folder, 'scan.zarr'), 's0/zarr.json', shardJson(PACKERS.gzip.codecs));
  putShards(join(folder, 'scan.zarr/s0'), PACKERS.gzip.pack);
});

const scan = (more: object = {}): CampaignScan =>
  scanSchema.parse({ id: 'fine', volume: { zarr: 'scan.zarr' }, ...more });

const quiet = { line: () => {}, bar: () => ({ advance: () => {}, finish: () => {} }) };

it('takes the voxel size from the metadata', async () => {
  const { survey } = await surveyScan(folder, scan(), quiet as never);
  expect(survey.format).toBe('zarr');
  expect(survey.voxel_nm).toEqual({ x: 10, y: 20, z: 30 });
  expect(survey.voxel_source).toBe('OME-Zarr metadata');
  expect(survey.first_file).toBe('scan.zarr/s0');
  expect(survey.shape).toEqual({ nz: 7, ny: 37, nx: 53 });
});

it('follows campaign.yaml where the two differ, and tells both values', async () => {
  const source = await openVolume(await volumeSpec(folder, scan()));
  const voxel = voxelSize(scan({ voxel_nm: [10, 20, 33] }), source);
  expect(voxel).toMatchObject({ x: 10, y: 20, z: 33, source: 'campaign.yaml' });
  expect(voxel.notes).toEqual([
    'Voxel size along z: campaign.yaml says 33 nm, the OME-Zarr metadata says 30 nm. campaign.yaml was followed.',
  ]);
  await source.close();
  const told = { ...source, metadata: { ...source.metadata, greyUnit: '1/cm' } };
  expect(greyUnit(scan(), told)).toEqual({ unit: '1/cm', notes: [] });
  expect(greyUnit(scan({ grey_unit: 'e/Å³' }), told)).toEqual({
    unit: 'e/Å³',
    notes: ['Grey values: campaign.yaml says e/Å³, the file says 1/cm. campaign.yaml was followed.'],
  });
});

it('is described for check, doubts and all', async () => {
  const entries = await describeScan(
    { folder, process: null, allowOutside: false },
    null,
    scan({ voxel_nm: 12 }),
  );
  const lines = printed(entries)
    .join('\n')
    .replaceAll(/\n {18}/g, ' ');
  expect(lines).toMatch(/files +scan\.zarr\/s0 \(Zarr\)/);
  expect(lines).toMatch(
    /doubt +Voxel size along x: campaign\.yaml says 12 nm, the OME-Zarr metadata says 10 nm/,
  );
  expect(lines).toContain('OME-Zarr 0.5, array s0');
});
