/** HDF5 volumes, written by h5py and copied by the HDF5 library's own h5repack, against what numpy wrote beside them. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openHdf5Volume } from '../../../pipeline/formats/volume/hdf5.ts';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { expectVoxels } from '../../fixtures/volume/boxes.ts';
import { h5py, h5repack, run } from '../../fixtures/volume/outside-programs.ts';
import { bytesOf, readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, `${name}.h5`);
const raw = (name: string): Buffer => readFileSync(join(folder, `${name}.raw`));

const TYPES = {
  u1: 'uint8',
  i1: 'int8',
  u2: 'uint16',
  i2: 'int16',
  u4: 'uint32',
  i4: 'int32',
  f4: 'float32',
  f8: 'float64',
} as const;

describe.skipIf(!h5py.path)(`HDF5 by h5py${h5py.note}`, () => {
  beforeAll(() => run(h5py, [join(import.meta.dirname, '../../fixtures/volume/make-hdf5.py'), folder]));

  const kinds = Object.entries(TYPES).flatMap(([short, type]) =>
    (short.endsWith('1') ? [''] : ['', '-big']).map((order) => [`type-${short}${order}`, type] as const),
  );
  it.each(kinds)('%s', async (name, type) => {
    const source = await openHdf5Volume(at(name));
    expect(source.type).toBe(type);
    expect(source.shape).toEqual({ nz: 7, ny: 37, nx: 53 });
    expect(source.files).toEqual([at(name)]);
    expect(source.bytes).toBe(readFileSync(at(name)).length);
    await expectVoxels(source, raw(name), 3);
    await source.close();
  });

  it.each(['', '-big'])(
    '64-bit integers and 16-bit floating point become the next wider type %s',
    async (order) => {
      const signed = raw(`type-i8${order}`);
      const integers = Float64Array.from({ length: signed.length / 8 }, (_, n) =>
        Number(signed.readBigInt64LE(n * 8)),
      );
      const source = await openHdf5Volume(at(`type-i8${order}`));
      expect(source.metadata.notes.join()).toContain('exact up to 2^53');
      expect(await readWhole(source)).toEqual(integers);
      const unsigned = raw(`type-u8${order}`);
      expect(await readWhole(await openHdf5Volume(at(`type-u8${order}`)))).toEqual(
        Float64Array.from({ length: unsigned.length / 8 }, (_, n) => Number(unsigned.readBigUInt64LE(n * 8))),
      );
      // The language's own half floats are the second opinion.
      const stored = raw(`type-f2${order}`);
      const view = new DataView(stored.buffer, stored.byteOffset) as DataView & {
        getFloat16(at: number, little: boolean): number;
      };
      const halves = Float32Array.from({ length: stored.length / 2 }, (_, n) => view.getFloat16(n * 2, true));
      expect(bytesOf(await readWhole(await openHdf5Volume(at(`type-f2${order}`))))).toEqual(
        Buffer.from(halves.buffer),
      );
    },
  );

  const layouts = [
    'contiguous',
    'chunked',
    'gzip',
    'gzip-shuffle',
    'gzip-shuffle-checksum',
    'szip',
    'scale-offset',
    'one-chunk',
    'slice-chunks',
    'extendable',
    'compact',
    'latest',
    'partly-written',
  ];
  it.each(layouts)('layout %s', async (layout) => {
    const source = await openHdf5Volume(at(`layout-${layout}`));
    await expectVoxels(source, raw(`layout-${layout}`));
    await source.close();
  });

  it.skipIf(!h5repack.path)(`copies by h5repack, chunked and packed anew${h5repack.note}`, async () => {
    for (const how of [
      ['-l', 'volume:CHUNK=2x9x53', '-f', 'volume:GZIP=9'],
      ['-l', 'volume:CHUNK=7x8x8', '-f', 'SHUF', '-f', 'FLET'],
      ['-f', 'volume:NBIT', '-l', 'volume:CHUNK=4x20x20'],
      ['-l', 'volume:CONTI'],
      ['--low=2', '--high=2', '-f', 'volume:GZIP=1'],
    ]) {
      run(h5repack, [...how, at('layout-chunked'), at('copy')]);
      const source = await openHdf5Volume(at('copy'));
      await expectVoxels(source, raw('layout-chunked'), 4);
      await source.close();
    }
  });

  it('a dataset by its path, through links inside the file, and leading axes of length 1', async () => {
    for (const dataset of ['/real', 'real', '//hard/', 'soft', 'round/trip/real']) {
      const source = await openHdf5Volume(at('links'), { dataset });
      expect(bytesOf(await readWhole(source))).toEqual(raw('small'));
    }
    const spec = { kind: 'hdf5', file: at('several'), dataset: 'a/one' } as const;
    expect(bytesOf(await readWhole(await openVolume(spec)))).toEqual(raw('small'));
    const four = await openHdf5Volume(at('four-axes'));
    expect(four.metadata.notes).toContain('leading axes of length 1 dropped from 1 x 4 x 5 x 6');
    expect(bytesOf(await readWhole(four))).toEqual(raw('small'));
  });

  it('the only volume is found once, however many links lead to it', async () => {
    const source = await openHdf5Volume(at('links'));
    expect(bytesOf(await readWhole(source))).toEqual(raw('small'));
  });

  const voxels: readonly (readonly [string, readonly (number | null)[], string | null, RegExp | null])[] = [
    ['nexus', [30, 20, 10], 'NeXus axes', /found as NeXus/],
    ['nexus-legacy', [30, 20, 10], 'NeXus axes', null],
    ['nexus-proc', [30, 20, 10], 'NeXus axes', null],
    // The first axis is the slices, whatever it is called: its step is the step between slices.
    ['nexus-x-first', [30, 20, 10], 'NeXus axes', /calls the first axis x/],
    ['nexus-no-units', [null, null, null], null, /axis \/entry\/data\/z has no unit/],
    ['nexus-pixels', [null, null, null], null, /"pixel", no known length/],
    ['nexus-uneven', [null, 20, 10], 'NeXus axes', /no even steps/],
    ['attribute-element-size', [30, 20, 10], 'attribute element_size_um', null],
    ['attribute-voxel-size', [11.5, 11.5, 11.5], 'attribute voxel_size_nm', null],
    ['attribute-resolution', [30, 20, 10], 'attribute resolution', null],
    ['attribute-resolution-bare', [null, null, null], null, /resolution without a known unit/],
    ['attribute-nonsense', [null, null, null], null, /three positive numbers/],
    ['projections', [null, null, null], null, /may be projections/],
  ];
  it.each(voxels)('voxel size of %s', async (name, sizes, source, note) => {
    const { metadata, close } = await openHdf5Volume(at(name)).then(async (volume) => {
      const { metadata } = volume;
      return { metadata, close: () => volume.close() };
    });
    await close();
    const { z, y, x } = metadata.voxelNm;
    [z, y, x].forEach((size, n) => {
      if (sizes[n] === null) expect(size).toBeNull();
      else expect(size).toBeCloseTo(sizes[n] ?? 0, 6);
    });
    expect(metadata.voxelSource).toBe(source);
    if (note) expect(metadata.notes.join('; ')).toMatch(note);
    if (name.startsWith('nexus')) expect(metadata.greyUnit).toBe('1/cm');
    if (name === 'attribute-element-size') expect(metadata.greyUnit).toBe('e/Å³');
  });

  it('a file larger than the memory of the reader: one slice beyond 4 GB costs little memory', async () => {
    const script = [
      'import h5py, numpy, sys',
      'file = h5py.File(sys.argv[1], "w")',
      'data = file.create_dataset("volume", shape=(2600, 1024, 1024), dtype="u2")',
      'data[2599] = numpy.arange(1024 * 1024, dtype="u4").reshape(1024, 1024) % 65521',
    ].join('\n');
    run(h5py, ['-c', script, at('large')]);
    const before = process.memoryUsage.rss();
    const source = await openHdf5Volume(at('large'));
    expect(source.bytes).toBeGreaterThan(5e9);
    const rows = await source.read({ k: [2599, 2600], j: [1000, 1001] });
    expect([...rows]).toEqual(Array.from({ length: 1024 }, (_, n) => (1000 * 1024 + n) % 65521));
    expect((await source.read({ k: [2599, 2600] })).length).toBe(1024 * 1024);
    expect(process.memoryUsage.rss() - before).toBeLessThan(300e6);
    await source.close();
  });

  it('several at a time, within threads, and stopped', async () => {
    const sources = await Promise.all([0, 1, 2].map(() => openHdf5Volume(at('layout-gzip'))));
    const all = await Promise.all(
      sources.flatMap((source) => [0, 6].map((k) => source.read({ k: [k, k + 1] }))),
    );
    expect(all.map((slice) => slice.length)).toEqual(new Array(6).fill(37 * 53));
    const stop = AbortSignal.abort(new Error('stopped'));
    await expect(sources[0].read({ k: [0, 7] }, stop)).rejects.toThrow('stopped');
    const underWay = sources[0].read({ k: [0, 7] });
    underWay.catch(() => {});
    await Promise.all(sources.map((source) => source.close()));
    await expect(underWay).rejects.toThrow(/closed/);
    await expect(sources[0].read({ k: [0, 1] })).rejects.toThrow(/closed/);

    const registry = new URL('../../../pipeline/formats/volume/registry.ts', import.meta.url).href;
    const code = `
      const { parentPort, workerData } = require('node:worker_threads');
      import(workerData.registry).then(async ({ openVolume }) => {
        const source = await openVolume({ kind: 'hdf5', file: workerData.file });
        parentPort.postMessage(await source.read({ k: [0, 7] }));
        await source.close();
      });`;
    const sums = [1, 2].map(async () => {
      const worker = new Worker(code, { eval: true, workerData: { registry, file: at('layout-gzip') } });
      const [voxels] = await new Promise<[Uint16Array]>((resolve, reject) => {
        worker.once('message', (message) => resolve([message]));
        worker.once('error', reject);
      });
      await worker.terminate();
      return bytesOf(voxels).equals(raw('layout-gzip'));
    });
    expect(await Promise.all(sums)).toEqual([true, true]);
  });
});
