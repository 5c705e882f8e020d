/** Paths of campaign.yaml: none may leave the campaign folder, unless the user says so. */
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { checkFound, checkPattern, insideCampaign } from '../../../pipeline/stages/survey/inside-campaign.ts';
import { loadCampaign } from '../../../pipeline/stages/survey/load-campaign.ts';
import { volumeSpec } from '../../../pipeline/stages/survey/volume-spec.ts';
import { type CampaignScan, scanSchema } from '../../../shared/artefacts/campaign.ts';
import { InputFault } from '../../../shared/errors.ts';

const root = mkdtempSync(join(tmpdir(), 'inside-'));
const folder = join(root, 'campaign');
const secret = join(root, 'secret');
afterAll(() => rmSync(root, { recursive: true, force: true }));

beforeAll(() => {
  mkdirSync(join(folder, 'slices'), { recursive: true });
  mkdirSync(join(secret, 'slices'), { recursive: true });
  for (const at of [folder, secret]) {
    for (const name of ['a.txt', 'v.h5', 'v.raw', 'slices/s1.tif', 'slices/s2.tif'])
      writeFileSync(join(at, name), 'x');
    mkdirSync(join(at, 'v.zarr'));
  }
  symlinkSync(join(secret, 'a.txt'), join(folder, 'link-out'));
  symlinkSync(secret, join(folder, 'folder-out'));
  symlinkSync('../secret/a.txt', join(folder, 'link-out-by-dots'));
  symlinkSync('a.txt', join(folder, 'link-in'));
  symlinkSync('link-out', join(folder, 'link-to-link'));
  symlinkSync('loop', join(folder, 'loop'));
  symlinkSync(folder, join(root, 'linked-campaign'));
  mkdirSync(join(folder, 'mixed'));
  writeFileSync(join(folder, 'mixed/s1.tif'), 'x');
  symlinkSync(join(secret, 'slices/s2.tif'), join(folder, 'mixed/s2.tif'));
});

const faultOf = async (work: Promise<unknown>): Promise<InputFault> => {
  const end = await work.catch((error: unknown) => error);
  if (end instanceof InputFault) return end;
  throw new Error(`no fault, but ${String(end)}`);
};

describe('a path', () => {
  it.each(['a.txt', './a.txt', 'slices/../a.txt', 'link-in', 'not/there', 'loop', 'slices', '..a', 'a..'])(
    'inside: %s',
    async (named) => {
      expect(await insideCampaign(folder, named, 'key', false)).toBe(join(folder, named));
    },
  );

  it.each([
    ['../secret/a.txt', /leaves it by \.\./],
    ['..', /leaves it by \.\./],
    ['slices/../../secret/a.txt', /leaves it by \.\./],
    ['not/there/../../../secret', /leaves it by \.\./],
    ['/etc/hostname', /an absolute path/],
    ['C:\\Windows\\win.ini', /an absolute path/],
    ['\\\\server\\share', /an absolute path/],
    ['link-out', /a link that leads out/],
    ['link-out-by-dots', /a link that leads out/],
    ['link-to-link', /a link that leads out/],
    ['folder-out/a.txt', /a link that leads out/],
    ['folder-out', /a link that leads out/],
  ])('outside: %s', async (named, found) => {
    const fault = await faultOf(insideCampaign(folder, named, 'chip.layout.file', false));
    expect(fault.message).toMatch(found);
    expect(fault.message).toMatch(/^campaign\.yaml, chip\.layout\.file: .*\n.*--follow-links-out/);
    expect(fault.tag).toBe('unsupported');
    await insideCampaign(folder, named, 'chip.layout.file', true);
  });

  it('a folder that is itself reached through a link', async () => {
    const linked = join(root, 'linked-campaign');
    expect(await insideCampaign(linked, 'a.txt', 'key', false)).toBe(join(linked, 'a.txt'));
    await faultOf(insideCampaign(linked, 'link-out', 'key', false));
  });
});

describe('a glob', () => {
  it('is looked at as it is written, and what it has found through its links', async () => {
    checkPattern(folder, 'slices/*.tif', 'key', false);
    for (const pattern of ['../secret/*.tif', '/etc/*', 'slices/../../*']) {
      expect(() => checkPattern(folder, pattern, 'key', false), pattern).toThrow(InputFault);
      checkPattern(folder, pattern, 'key', true);
    }
    const inside = [join(folder, 'mixed/s1.tif')];
    await checkFound(folder, inside, 'key', false);
    const both = [...inside, join(folder, 'mixed/s2.tif')];
    const fault = await faultOf(checkFound(folder, both, 'key', false));
    expect(fault.message).toContain('"mixed/s2.tif", a link that leads out of it');
    await checkFound(folder, both, 'key', true);
    // What braces hide from the first look is seen among the files.
    await faultOf(checkFound(folder, [join(secret, 'a.txt')], 'key', false));
  });
});

const scan = (volume: object): CampaignScan => scanSchema.parse({ id: 'fine', volume });

describe('volumes', () => {
  it('every kind becomes what its reader needs', async () => {
    expect(await volumeSpec(folder, scan({ hdf5: 'v.h5' }))).toEqual({
      kind: 'hdf5',
      file: join(folder, 'v.h5'),
    });
    expect(await volumeSpec(folder, scan({ hdf5: 'v.h5', dataset: '/a/b' }))).toEqual({
      kind: 'hdf5',
      file: join(folder, 'v.h5'),
      dataset: '/a/b',
    });
    expect(await volumeSpec(folder, scan({ zarr: 'v.zarr' }))).toEqual({
      kind: 'zarr',
      folder: join(folder, 'v.zarr'),
      allowOutside: false,
    });
    expect(await volumeSpec(folder, scan({ zarr: 'v.zarr', dataset: '0' }), true)).toEqual({
      kind: 'zarr',
      folder: join(folder, 'v.zarr'),
      allowOutside: true,
      array: '0',
    });
    const files = ['s1', 's2'].map((name) => join(folder, `slices/${name}.tif`));
    expect(await volumeSpec(folder, scan({ files: 'slices/*.tif' }))).toEqual({ kind: 'tiff', files });
    for (const extension of ['png', 'PNG', 'jpg', 'jpeg']) {
      for (const n of [1, 2]) writeFileSync(join(folder, `slices/p${n}.${extension}`), 'x');
      const spec = await volumeSpec(folder, scan({ files: `slices/*.${extension}` }));
      expect(spec).toEqual({
        kind: 'pictures',
        files: [1, 2].map((n) => join(folder, `slices/p${n}.${extension}`)),
      });
    }
  });

  it.each([
    [{ hdf5: 'folder-out/v.h5' }, 'volume.hdf5'],
    [{ hdf5: '../secret/v.h5' }, 'volume.hdf5'],
    [{ zarr: 'folder-out/v.zarr' }, 'volume.zarr'],
    [{ raw: 'folder-out/v.raw', shape: [1, 1, 1], dtype: 'uint8' }, 'volume.raw'],
    [{ files: '../secret/slices/*.tif' }, 'volume.files'],
    [{ files: 'folder-out/slices/*.tif' }, 'volume.files'],
    [{ files: 'mixed/*.tif' }, 'volume.files'],
  ])('%j stays outside, unless allowed', async (volume, key) => {
    const fault = await faultOf(volumeSpec(folder, scan(volume)));
    expect(fault.message).toContain('inside the campaign folder');
    expect(fault.fields.place).toBe(`scan "fine", ${key}`);
    await volumeSpec(folder, scan(volume), true);
  });

  it.each([
    [{ hdf5: 'gone.h5' }, 'missing-file', 'volume.hdf5'],
    [{ zarr: 'gone.zarr' }, 'missing-file', 'volume.zarr'],
    [{ files: 'gone/*.png' }, 'missing-file', 'volume.files'],
    [{ files: 'slices/*.tif', dataset: 'x' }, 'schema', 'volume.dataset'],
  ])('%j', async (volume, tag, key) => {
    const fault = await faultOf(volumeSpec(folder, scan(volume)));
    expect(fault.tag).toBe(tag);
    expect(fault.fields.place).toBe(`scan "fine", ${key}`);
  });
});

describe('a campaign', () => {
  const load = (yaml: string, allow = false) => {
    const scans = 'scans: [{ id: s, volume: { files: "slices/*.tif" } }]';
    const chip = yaml.includes('chip:') ? '' : 'chip: { name: X }\n';
    writeFileSync(
      join(folder, 'campaign.yaml'),
      `stratafolio: 1\ntitle: T\n${chip}${yaml}\n${yaml.includes('scans:') ? '' : scans}\n`,
    );
    return loadCampaign(folder, allow);
  };

  it.each([
    ['chip: { name: X, process: ../secret/a.txt }', 'chip.process'],
    ['chip: { name: X, layout: { file: link-out } }', 'chip.layout.file'],
    ['lessons: "../*.md"', 'lessons'],
    ['scans: [{ id: s, pixel_nm: 1, image: { file: link-out } }]', 'scan "s", image.file'],
    ['scans: [{ id: s, volume: { hdf5: link-out } }]', 'scan "s", volume.hdf5'],
    ['scans: [{ id: s, volume: { files: "/etc/*" } }]', 'scan "s", volume.files'],
    [
      'scans: [{ id: s, volume: { files: "slices/*.tif" }, placement: { landmarks: folder-out/a.txt } }]',
      'scan "s", placement.landmarks',
    ],
  ])('%s', async (yaml, key) => {
    const fault = await faultOf(load(yaml));
    expect(fault.fields.place).toBe(key);
    expect(fault.message).toContain('inside the campaign folder');
  });

  it('that the user allows to', async () => {
    const loaded = await load('scans: [{ id: s, volume: { hdf5: link-out } }]', true);
    expect(loaded.allowOutside).toBe(true);
  });
});
