/**
 * Zarr volumes: version 2 by the reference implementation against what numpy wrote beside it, version 3 against bytes
 * put together by hand from the specification.
 */
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { crc32c } from '../../../pipeline/formats/volume/crc32c.ts';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { openZarrVolume } from '../../../pipeline/formats/volume/zarr.ts';
import { expectVoxels } from '../../fixtures/volume/boxes.ts';
import {
  arrayJson,
  boxOf,
  bytesOfValues,
  CHUNK,
  FILL,
  imageJson,
  PACKERS,
  put,
  putChunks,
  putShards,
  SHAPE,
  shardJson,
  VOXELS,
} from '../../fixtures/volume/hand-made-zarr.ts';
import { run, zarrPython } from '../../fixtures/volume/outside-programs.ts';
import { bytesOf, readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, name);
const raw = (name: string): Buffer => readFileSync(at(`${name}.raw`));
const HAND_MADE = bytesOfValues(VOXELS);

describe.skipIf(!zarrPython.path)(`Zarr version 2 by the reference implementation${zarrPython.note}`, () => {
  beforeAll(() => run(zarrPython, [join(import.meta.dirname, '../../fixtures/volume/make-zarr.py'), folder]));

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
  const kinds = Object.entries(TYPES).flatMap(([short, type]) =>
    (short.endsWith('1') ? [''] : ['', '-big']).map((order) => [`type-${short}${order}`, type] as const),
  );
  it.each(kinds)('%s', async (name, type) => {
    const source = await openZarrVolume(at(name));
    expect(source.type).toBe(type);
    expect(source.shape).toEqual({ nz: 7, ny: 37, nx: 53 });
    expect(source.files).toEqual([at(name)]);
    await expectVoxels(source, raw(name), 3);
    await source.close();
  });

  it.each(['', '-big'])('64-bit integers and 16-bit floating point become wider %s', async (order) => {
    const signed = raw(`type-i8${order}`);
    expect(await readWhole(await openZarrVolume(at(`type-i8${order}`)))).toEqual(
      Float64Array.from({ length: signed.length / 8 }, (_, n) => Number(signed.readBigInt64LE(n * 8))),
    );
    const stored = raw(`type-f2${order}`);
    const view = new DataView(stored.buffer, stored.byteOffset) as DataView & {
      getFloat16(at: number, little: boolean): number;
    };
    const halves = Float32Array.from({ length: stored.length / 2 }, (_, n) => view.getFloat16(n * 2, true));
    const read = await readWhole(await openZarrVolume(at(`type-f2${order}`)));
    expect(bytesOf(read)).toEqual(Buffer.from(halves.buffer));
  });

  const dialects = [
    ...['none', 'gzip', 'zlib', 'zstd', 'lz4'].map((name) => `codec-${name}`),
    ...['lz4', 'lz4hc', 'zstd', 'zlib', 'blosclz', 'snappy', 'bits', 'plain'].map(
      (name) => `codec-blosc-${name}`,
    ),
    'order-f',
    'order-f-gzip',
    'separator',
    'one-chunk',
    'shuffled',
    'four-axes',
    'partly-written',
  ];
  it.each(dialects)('%s', async (name) => {
    const source = await openVolume({ kind: 'zarr', folder: at(name) });
    await expectVoxels(source, raw(name));
    if (name === 'partly-written') expect(source.metadata.notes.join()).toContain('18 of 27 chunk files');
    await source.close();
  });

  const images: readonly (readonly [string, readonly (number | null)[], RegExp])[] = [
    ['ome', [30, 20, 10], /OME-Zarr 0\.4, array 0; .*2 levels, the full resolution is 0/],
    ['ome-tczyx', [30, 20, 10], /axes of length 1 dropped from 1 x 1 x 7 x 37 x 53/],
    ['ome-xyz', [30, 20, 10], /another order than z, y, x/],
    ['ome-no-unit', [null, null, null], /axis z has no unit/],
    ['ome-nanometer', [0.03, 0.02, 0.01], /OME-Zarr 0\.4/],
    ['ome-scaled', [60, 40, 20], /OME-Zarr 0\.4/],
    ['ome-small-first', [30, 20, 10], /not the first level but s1/],
    ['series', [30, 20, 10], /array 0\/0/],
  ];
  it.each(images)('image %s', async (name, [z, y, x], note) => {
    const source = await openZarrVolume(at(name));
    const { voxelNm, voxelSource, notes } = source.metadata;
    const rounded = [voxelNm.z, voxelNm.y, voxelNm.x].map((size) => size && Number(size.toPrecision(9)));
    expect(rounded).toEqual([z, y, x]);
    expect(voxelSource).toBe(z === null ? null : 'OME-Zarr metadata');
    expect(notes.join('; ')).toMatch(note);
    await expectVoxels(source, raw('ome'), 4);
    await source.close();
  });

  it('one level by its path', async () => {
    const source = await openZarrVolume(at('ome'), { array: '1' });
    expect(source.shape).toEqual({ nz: 4, ny: 19, nx: 27 });
    await source.close();
  });
});

describe('Zarr version 3 from the bytes of the specification', () => {
  it.each(Object.entries(PACKERS))('chunks: %s', async (name, { codecs, pack }) => {
    put(at(`chunks-${name}`), 'zarr.json', arrayJson({ codecs }));
    putChunks(at(`chunks-${name}`), pack);
    const source = await openZarrVolume(at(`chunks-${name}`));
    await expectVoxels(source, HAND_MADE);
    await source.close();
  });

  it.each(Object.entries(PACKERS))('shards: %s', async (name, { codecs, pack }) => {
    for (const options of [
      {},
      { atStart: true },
      { withChecksum: false },
      { atStart: true, withChecksum: false },
    ]) {
      const shards = at(`shards-${name}`);
      rmSync(shards, { recursive: true, force: true });
      put(shards, 'zarr.json', shardJson(codecs, options));
      putShards(shards, pack, options);
      const source = await openZarrVolume(shards);
      expect(source.metadata.notes.join()).toContain('chunks of 3 x 16 x 20 in shards of 6 x 32 x 40');
      await expectVoxels(source, HAND_MADE, 4);
      await source.close();
    }
  });

  it('big-endian values, other keys, and axes turned', async () => {
    const dialects = {
      big: { codecs: [{ name: 'bytes', configuration: { endian: 'big' } }] },
      dots: { chunk_key_encoding: { name: 'default', configuration: { separator: '.' } } },
      'like version 2': { chunk_key_encoding: { name: 'v2' } },
      'without a word': { chunk_key_encoding: { name: 'default' }, codecs: ['bytes'] },
    };
    const keys: Record<string, (place: number[]) => string> = {
      dots: (place) => ['c', ...place].join('.'),
      'like version 2': (place) => place.join('.'),
    };
    for (const [name, changes] of Object.entries(dialects)) {
      put(at(name), 'zarr.json', arrayJson(changes));
      putChunks(
        at(name),
        name === 'big' ? (bytes) => Buffer.from(bytes).swap16() : (bytes) => bytes,
        keys[name],
      );
      expect(bytesOf(await readWhole(await openZarrVolume(at(name)))), name).toEqual(HAND_MADE);
    }
    // @source Zarr 3.0, transpose: axis n of what is stored is axis order[n] of the array.
    for (const order of [
      [2, 1, 0],
      [1, 2, 0],
      [2, 0, 1],
    ]) {
      const name = at(`transposed-${order.join('')}`);
      const codecs = [{ name: 'transpose', configuration: { order } }, ...PACKERS.plain.codecs];
      put(name, 'zarr.json', arrayJson({ codecs }));
      for (let n = 0; n < 27; n++) {
        const place = [Math.floor(n / 9), Math.floor(n / 3) % 3, n % 3];
        const from = place.map((step, axis) => step * CHUNK[axis]);
        put(name, `c/${place.join('/')}`, bytesOfValues(boxOf(from, CHUNK, order)));
      }
      expect(bytesOf(await readWhole(await openZarrVolume(name))), order.join()).toEqual(HAND_MADE);
    }
  });

  it('absent shards, and chunks absent within a shard, hold the fill value', async () => {
    const absent = (place: readonly number[]) => place.join() === '0,0,0' || place[0] >= 2;
    put(at('absent'), 'zarr.json', shardJson(PACKERS.gzip.codecs));
    putShards(at('absent'), PACKERS.gzip.pack, { absent });
    rmSync(join(at('absent'), 'c/1'), { recursive: true });
    const expected = VOXELS.slice();
    for (let n = 0; n < expected.length; n++) {
      const [k, j, i] = [Math.floor(n / (37 * 53)), Math.floor(n / 53) % 37, n % 53];
      if (k >= 6 || (k < 3 && j < 16 && i < 20)) expected[n] = FILL;
    }
    const source = await openZarrVolume(at('absent'));
    expect(source.metadata.notes.join()).toContain('4 of 8 chunk files are not there and hold 41');
    await expectVoxels(source, bytesOfValues(expected), 4);
    await source.close();
  });

  it.each([
    ['NaN', Number.NaN],
    ['-Infinity', Number.NEGATIVE_INFINITY],
    ['0x7fc00000', Number.NaN],
    ['0x40490fdb', Math.fround(Math.PI)],
    [-1.5, -1.5],
  ])('fill value %s of floating point', async (fill, value) => {
    put(at('filled'), 'zarr.json', arrayJson({ data_type: 'float32', fill_value: fill }));
    const voxels = await readWhole(await openZarrVolume(at('filled')));
    expect(voxels.every((voxel) => Object.is(voxel, value))).toBe(true);
  });

  it('an image of version 0.5: scale, unit and translation', async () => {
    put(at('image'), 'zarr.json', imageJson());
    const array = { ...shardJson(PACKERS.zstd.codecs), dimension_names: ['z', 'y', 'x'] };
    put(at('image'), 's0/zarr.json', array);
    putShards(join(at('image'), 's0'), PACKERS.zstd.pack);
    const source = await openZarrVolume(at('image'));
    expect(source.metadata.voxelNm).toEqual({ z: 30, y: 20, x: 10 });
    expect(source.metadata.notes.join('; ')).toMatch(
      /OME-Zarr 0\.5, array s0;.*first voxel at z 0\.5 micrometer, y 0 micrometer, x 0\.25 micrometer/,
    );
    expect(source.files).toEqual([join(at('image'), 's0')]);
    await expectVoxels(source, HAND_MADE);
    await source.close();
  });

  it('reads only the chunks that a box needs', async () => {
    put(at('holes'), 'zarr.json', arrayJson());
    putChunks(at('holes'), (bytes) => bytes);
    // Wherever it is looked at, this chunk is a fault.
    put(at('holes'), 'c/1/1/1', new Uint8Array(3));
    const source = await openZarrVolume(at('holes'));
    await source.read({ k: [0, 3] });
    await source.read({ k: [0, 7], j: [0, 16] });
    await source.read({ k: [3, 6], j: [16, 32], i: [40, 53] });
    await expect(source.read({ k: [5, 6], j: [20, 21], i: [39, 40] })).rejects.toThrow(/chunk 1, 1, 1/);
    await source.close();
    await expect(source.read({ k: [0, 1] })).rejects.toThrow(/closed/);
  });

  it('stops when it is told to', async () => {
    const source = await openZarrVolume(at('holes'));
    await expect(source.read({ k: [0, 7] }, AbortSignal.abort(new Error('stopped')))).rejects.toThrow(
      'stopped',
    );
    await source.close();
  });
});

/** @source RFC 3720, appendix B.4: bytes and their CRC-32C. */
it.each([
  [new Uint8Array(32), 0x8a9136aa],
  [new Uint8Array(32).fill(0xff), 0x62a8ab43],
  [Uint8Array.from({ length: 32 }, (_, n) => n), 0x46dd794e],
  [Uint8Array.from({ length: 32 }, (_, n) => 31 - n), 0x113fdb5c],
])('CRC-32C %#', (bytes, sum) => {
  expect(crc32c(bytes)).toBe(sum);
});

it('the shape that the hand-made arrays have', () => {
  expect(VOXELS.length).toBe(SHAPE[0] * SHAPE[1] * SHAPE[2]);
  expect(existsSync(at('chunks-plain/c/2/2/2'))).toBe(true);
});
