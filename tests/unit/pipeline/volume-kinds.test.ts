/** One volume in every kind of file: the same plates, byte for byte, and links that leave the campaign. */
import { spawnSync } from 'node:child_process';
import {
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { CAMPAIGN, makeCampaign, SHAPE, sliceFile } from '../../fixtures/campaign/make-campaign.ts';
import { put } from '../../fixtures/volume/hand-made-zarr.ts';
import { h5py, run } from '../../fixtures/volume/outside-programs.ts';

const CLI = join(import.meta.dirname, '../../../pipeline/cli.ts');
const FILES = 'volume: { files: "slices/*.tif" }';
let work: string;

beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'volume-kinds-'));
  await makeCampaign(join(work, 'tiff'));
  build('tiff');
});
afterAll(() => rmSync(work, { recursive: true, force: true }));

function stratafolio(...args: string[]) {
  return spawnSync(process.execPath, [CLI, ...args], { encoding: 'utf8', timeout: 180_000 });
}

function build(name: string): void {
  const { status, stderr } = stratafolio('build', join(work, name), '--data-only', '--jobs', '2');
  expect(status, stderr).toBe(0);
}

/** A copy of the campaign with another volume. */
function variant(name: string, volume: string): string {
  const folder = join(work, name);
  mkdirSync(folder);
  for (const file of ['process.yaml', 'landmarks.csv', 'bars.gds'])
    cpSync(join(work, 'tiff', file), join(folder, file));
  writeFileSync(join(folder, 'campaign.yaml'), CAMPAIGN.replace(FILES, `volume: ${volume}`));
  return folder;
}

const slice = async (k: number): Promise<Buffer> =>
  sharp(join(work, 'tiff', sliceFile(k)))
    .toColourspace('grey16')
    .raw({ depth: 'ushort' })
    .toBuffer();

/** Every file of the scan but the survey, which tells the format. */
function artefacts(name: string): Map<string, Buffer> {
  const folder = join(work, name, 'folio/data/fine');
  const files = readdirSync(folder, { recursive: true, withFileTypes: true }).filter((entry) =>
    entry.isFile(),
  );
  return new Map(
    files
      .map((entry) => join(entry.parentPath, entry.name))
      .filter((file) => !file.endsWith('survey.json'))
      .map((file) => [file.slice(folder.length), readFileSync(file)] as const),
  );
}

function expectSame(name: string): void {
  const [expected, found] = [artefacts('tiff'), artefacts(name)];
  expect(expected.size).toBeGreaterThan(60);
  expect([...found.keys()].sort()).toEqual([...expected.keys()].sort());
  for (const [file, bytes] of expected) expect(found.get(file)?.equals(bytes), file).toBe(true);
}

describe('the same volume', () => {
  it('as PNG', async () => {
    const folder = variant('png', '{ files: "s*.png" }');
    const { nx, ny, nz } = SHAPE;
    for (let k = 0; k < nz; k++) {
      const values = await slice(k);
      const pixels = new Uint16Array(values.buffer, values.byteOffset, values.length / 2);
      await sharp(pixels, { raw: { width: nx, height: ny, channels: 1 } })
        .toColourspace('grey16')
        .png()
        .toFile(join(folder, `s${k}.png`));
    }
    build('png');
    expectSame('png');
  }, 180_000);

  it('as Zarr', async () => {
    const folder = variant('zarr', '{ zarr: bars.zarr }');
    const { nx, ny, nz } = SHAPE;
    put(join(folder, 'bars.zarr'), '.zarray', {
      zarr_format: 2,
      shape: [nz, ny, nx],
      chunks: [1, ny, nx],
      dtype: '<u2',
      compressor: null,
      fill_value: 0,
      order: 'C',
      filters: null,
    });
    for (let k = 0; k < nz; k++) put(join(folder, 'bars.zarr'), `${k}.0.0`, new Uint8Array(await slice(k)));
    build('zarr');
    expectSame('zarr');
  }, 180_000);

  it.skipIf(!h5py.path)(
    `as HDF5${h5py.note}`,
    async () => {
      const folder = variant('hdf5', '{ hdf5: bars.h5 }');
      const { nx, ny, nz } = SHAPE;
      const slices = await Promise.all(Array.from({ length: nz }, (_, k) => slice(k)));
      writeFileSync(join(folder, 'bars.raw'), Buffer.concat(slices));
      const script = [
        'import h5py, numpy, sys',
        `volume = numpy.fromfile(sys.argv[1] + "/bars.raw", "<u2").reshape(${nz}, ${ny}, ${nx})`,
        'file = h5py.File(sys.argv[1] + "/bars.h5", "w")',
        'file.create_dataset("exchange/data", data=volume, chunks=(4, 16, 16), compression="gzip", shuffle=True)',
      ].join('\n');
      run(h5py, ['-c', script, folder]);
      build('hdf5');
      expectSame('hdf5');
      const { stdout } = stratafolio('check', folder);
      expect(stdout).toMatch(/files +bars\.h5 \(HDF5\)/);
    },
    180_000,
  );
});

it('a volume behind a link out of the campaign is read only when that is allowed', () => {
  const folder = variant('linked', '{ files: "slices/*.tif" }');
  symlinkSync(join(work, 'tiff/slices'), join(folder, 'slices'));
  for (const command of ['check', 'build']) {
    const { status, stderr } = stratafolio(command, folder);
    expect(status).toBe(1);
    expect(stderr).toMatch(/scan "fine", volume\.files: expected a path inside the campaign folder/);
    expect(stderr).toContain('--follow-links-out');
  }
  expect(stratafolio('check', folder, '--follow-links-out').status).toBe(0);
  const { status } = stratafolio('build', folder, '--data-only', '--follow-links-out', '--jobs', '2');
  expect(status).toBe(0);
  expectSame('linked');
  expect(stratafolio('verify', folder, '--follow-links-out').status).toBe(2);
}, 180_000);

it('lessons, and pictures beside them, stay inside as well', () => {
  const folder = variant('lessons', FILES.slice('volume: '.length));
  cpSync(join(work, 'tiff/slices'), join(folder, 'slices'), { recursive: true });
  writeFileSync(join(work, 'secret.png'), 'secret');
  mkdirSync(join(folder, 'lessons'));
  const lesson = '---\ntitle: Bars\norder: 1\n---\n\nThree bars.\n';
  writeFileSync(join(folder, 'lessons/bars.md'), lesson);
  symlinkSync(join(work, 'secret.png'), join(folder, 'lessons/secret.png'));
  writeFileSync(
    join(folder, 'campaign.yaml'),
    `${readFileSync(join(folder, 'campaign.yaml'), 'utf8')}lessons: "lessons/*.md"\n`,
  );
  const { status, stderr } = stratafolio('build', folder, '--data-only');
  expect(status).toBe(1);
  expect(stderr).toContain('campaign.yaml, lessons: ');
  expect(stderr).toContain('"lessons/secret.png", a link that leads out');
  renameSync(join(folder, 'lessons/secret.png'), join(folder, 'elsewhere.png'));
  const { status: fine, stderr: words } = stratafolio('build', folder, '--data-only', '--jobs', '2');
  expect(fine, words).toBe(0);
}, 180_000);
