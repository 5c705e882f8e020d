/**
 * One volume in every form a reconstruction hands over, written by NumPy, h5py and Zarr (Debian packages python3-numpy,
 * python3-h5py, python3-zarr) and libvips (PNG): each reads as the same voxels.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openVolume, type VolumeSpec } from '../../../pipeline/formats/volume/registry.ts';
import { isFault } from '../../../shared/errors.ts';

const PYTHON = '/usr/bin/python3';
const able = spawnSync(PYTHON, ['-c', 'import numpy, h5py, zarr']).status === 0;
const [NZ, NY, NX] = [9, 21, 34];
let work: string;

const SCRIPT = `
import sys, numpy as np, h5py, zarr
folder = sys.argv[1]
v = (np.random.default_rng(5).random((${NZ}, ${NY}, ${NX})) * 60000).astype('<u2')
v.tofile(folder + '/v.raw')
with h5py.File(folder + '/v.h5', 'w') as f:
    f.create_dataset('exchange/data', data=v, chunks=(4, 8, 16), compression='gzip', shuffle=True)
g = zarr.open_group(folder + '/v.zarr', mode='w')
g.create_dataset('0', data=v, chunks=(4, 8, 16), dimension_separator='/')
g.attrs['multiscales'] = [{'version': '0.4',
    'axes': [{'name': n, 'type': 'space', 'unit': 'nanometer'} for n in 'zyx'],
    'datasets': [{'path': '0', 'coordinateTransformations': [{'type': 'scale', 'scale': [40, 20, 10]}]}]}]
`;

describe.skipIf(!able)('one volume in many forms (skipped without python3-h5py and python3-zarr)', () => {
  let truth: Uint16Array;
  const specs: Record<string, () => VolumeSpec> = {
    raw: () => ({
      kind: 'raw',
      file: join(work, 'v.raw'),
      shape: [NZ, NY, NX],
      dtype: 'uint16le',
      offsetBytes: 0,
    }),
    HDF5: () => ({ kind: 'hdf5', file: join(work, 'v.h5') }),
    'OME-Zarr': () => ({ kind: 'zarr', folder: join(work, 'v.zarr') }),
    'PNG series': () => ({
      kind: 'pictures',
      files: Array.from({ length: NZ }, (_, k) => join(work, `s_${k}.png`)),
    }),
  };

  beforeAll(async () => {
    work = mkdtempSync(join(tmpdir(), 'stratafolio-forms-'));
    execFileSync(PYTHON, ['-c', SCRIPT, work]);
    const bytes = readFileSync(join(work, 'v.raw'));
    truth = new Uint16Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
    for (let k = 0; k < NZ; k++) {
      const slice = truth.slice(k * NY * NX, (k + 1) * NY * NX);
      await sharp(slice, { raw: { width: NX, height: NY, channels: 1 } })
        .toColourspace('grey16')
        .png()
        .toFile(join(work, `s_${k}.png`));
    }
  });
  afterAll(() => rmSync(work, { recursive: true, force: true }));

  it.each(Object.keys(specs))('%s', async (form) => {
    const source = await openVolume(specs[form]!());
    try {
      expect(source.shape).toEqual({ nz: NZ, ny: NY, nx: NX });
      expect(source.type).toBe('uint16');
      expect([...(await source.read({ k: [0, NZ] }))]).toEqual([...truth]);
      const box = await source.read({ k: [2, 7], j: [3, 19], i: [5, 30] });
      let n = 0;
      for (let k = 2; k < 7; k++)
        for (let j = 3; j < 19; j++)
          for (let i = 5; i < 30; i++) expect(box[n++]).toBe(truth[(k * NY + j) * NX + i]);
      expect(n).toBe(box.length);
      if (form === 'OME-Zarr') expect(source.metadata.voxelNm).toEqual({ x: 10, y: 20, z: 40 });
    } finally {
      await source.close();
    }
  });

  it.each([
    ['HDF5', 'no-such.h5'],
    ['OME-Zarr', 'no-such.zarr'],
  ])('%s that is not there is one clear fault', async (form, name) => {
    const spec =
      form === 'HDF5'
        ? { kind: 'hdf5' as const, file: join(work, name) }
        : { kind: 'zarr' as const, folder: join(work, name) };
    const error = await openVolume(spec).then(
      () => null,
      (e: unknown) => e,
    );
    expect(isFault(error)).toBe(true);
  });
});
