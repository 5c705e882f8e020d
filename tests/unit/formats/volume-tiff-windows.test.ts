/** Reading a part gives what cutting it out of the whole gives, in plain, compressed and tiled files. */
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import type { VolumeSource } from '../../../pipeline/formats/volume.ts';
import { run, tiffcp, tifffile } from '../../fixtures/volume/outside-programs.ts';
import { bytesOf, makeTiffs, plainBytes, SHAPE, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
const at = (name: string): string => join(folder, name);
const { nz, ny, nx } = SHAPE;
afterAll(remove);

type Range = readonly [number, number];

/** The obvious way: voxel by voxel from the plain bytes. */
function cut(plain: Buffer, size: number, k: Range, j: Range, i: Range): Buffer {
  const parts: Buffer[] = [];
  for (let slice = k[0]; slice < k[1]; slice++) {
    for (let row = j[0]; row < j[1]; row++) {
      for (let column = i[0]; column < i[1]; column++) {
        const voxel = ((slice * ny + row) * nx + column) * size;
        parts.push(plain.subarray(voxel, voxel + size));
      }
    }
  }
  return Buffer.concat(parts);
}

const range = (size: number) =>
  fc.tuple(fc.nat(size), fc.nat(size)).map(([a, b]): Range => [Math.min(a, b), Math.max(a, b)]);

async function checkWindows(source: VolumeSource, plain: Buffer, size: number): Promise<void> {
  await fc.assert(
    fc.asyncProperty(range(nz), range(ny), range(nx), async (k, j, i) => {
      const voxels = await source.read({ k, j, i });
      expect(bytesOf(voxels).equals(cut(plain, size, k, j, i))).toBe(true);
    }),
    { seed: 20260402, numRuns: 60 },
  );
  expect(bytesOf(await source.read({ k: [1, 3] })).equals(cut(plain, size, [1, 3], [0, ny], [0, nx]))).toBe(
    true,
  );
  await source.close();
}

describe.skipIf(!tifffile.path)(`windows of volumes${tifffile.note}`, () => {
  beforeAll(() => makeTiffs(folder));

  it.each([
    'uint16.tif',
    'uint16-big-endian.tif',
    'uint16-big-stack.tif',
    'uint16-deflate-32946.tif',
    'uint16-tiles.tif',
  ])('%s', async (name) => {
    await checkWindows(await openTiffStack([at(name)]), plainBytes(folder, 'uint16'), 2);
  });

  it('one file per slice', async () => {
    const files = [1, 2, 3].map((n) => at(`slice-000${n}.tif`));
    await checkWindows(await openVolume({ kind: 'tiff', files }), plainBytes(folder, 'uint16'), 2);
  });

  it('a raw volume', async () => {
    const spec = { kind: 'raw', file: at('float64.raw'), shape: [nz, ny, nx], dtype: 'float64le' } as const;
    await checkWindows(await openVolume(spec), plainBytes(folder, 'float64'), 8);
  });

  it.skipIf(!tiffcp.path)(`big-endian tiles with differences${tiffcp.note}`, async () => {
    run(tiffcp, ['-c', 'lzw:2', '-B', '-t', '-w', '16', '-l', '16', at('int32.tif'), at('tiled.tif')]);
    await checkWindows(await openTiffStack([at('tiled.tif')]), plainBytes(folder, 'int32'), 4);
  });

  it('a box outside the volume is the mistake of the caller', async () => {
    const source = await openTiffStack([at('uint8.tif')]);
    for (const box of [
      { k: [0, nz + 1] },
      { k: [-1, 1] },
      { k: [1, 0] },
      { k: [0, 1], j: [0, ny + 1] },
      { k: [0, 1], i: [0.5, 2] },
    ] as const) {
      await expect(source.read(box)).rejects.toThrow(RangeError);
    }
    await source.close();
  });

  it('a stop is noticed, with the reason that was given', async () => {
    const reason = new Error('stopped by hand');
    for (const name of ['uint16.tif', 'uint16-tiles.tif']) {
      const source = await openTiffStack([at(name)]);
      await expect(source.read({ k: [0, 1] }, AbortSignal.abort(reason))).rejects.toBe(reason);
      await source.close();
    }
  });
});
