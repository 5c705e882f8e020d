/** Zarr folders that are unfit, damaged or forged: each ends in one InputFault, and nothing outside is read for them. */
import { cpSync, mkdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync, zstdCompressSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openZarrVolume } from '../../../pipeline/formats/volume/zarr.ts';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import { faultOf } from '../../fixtures/volume/boxes.ts';
import { damageFolder } from '../../fixtures/volume/damaged-zarr.ts';
import {
  arrayJson,
  handMadeZarr,
  imageJson,
  type Json,
  PACKERS,
  put,
  putChunks,
  putShards,
  shardJson,
  VOXELS,
} from '../../fixtures/volume/hand-made-zarr.ts';
import { readThrough } from '../../fixtures/volume/mutations.ts';
import { run, zarrPython } from '../../fixtures/volume/outside-programs.ts';
import { generator } from '../../fixtures/volume/random.ts';
import { readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const at = (name: string): string => join(folder, name);

/** The fault of an array whose metadata are these. */
async function faultOfArray(json: Json): Promise<InputFault> {
  rmSync(at('array'), { recursive: true, force: true });
  put(at('array'), 'zarr.json', json);
  put(at('array'), 'c/0/0/0', new Uint8Array(10));
  return faultOf(openZarrVolume(at('array'), { nameOf: (file) => file.slice(folder.length + 1) }));
}

describe('metadata of an array', () => {
  const grid = (chunk_shape: unknown) => ({
    chunk_grid: { name: 'regular', configuration: { chunk_shape } },
  });
  const bytes = { name: 'bytes', configuration: { endian: 'little' } };
  const cases: readonly (readonly [string, Json, InputTag, RegExp])[] = [
    ['version', { zarr_format: 4 }, 'unsupported', /zarr_format 3, found 4/],
    ['no shape', { shape: null }, 'malformed', /whole numbers as shape, found null/],
    ['half a row', { shape: [7, 1.5, 3] }, 'malformed', /found \[7,1\.5,3\]/],
    ['no rows', { shape: [7, 0, 53] }, 'malformed', /7 slices x 0 rows/],
    [
      'two axes',
      { shape: [7, 37], ...grid([3, 16]) },
      'unsupported',
      /slices, rows and columns.*found 7 x 37/,
    ],
    ['two times', { shape: [2, 7, 37, 53], ...grid([1, 3, 16, 20]) }, 'unsupported', /found 2 x 7 x 37 x 53/],
    ['a huge slice', { shape: [7, 2 ** 20, 2 ** 20] }, 'limit', /slices of at most 1073741824 pixels/],
    ['a huge depth', { shape: [2 ** 31, 37, 53] }, 'limit', /at most 1000000 slices/],
    [
      'voxels from nothing',
      { shape: [7, 2 ** 15, 2 ** 15] },
      'malformed',
      /found 10 bytes in all|bytes in all/,
    ],
    ['chunks of nothing', grid([0, 16, 20]), 'malformed', /chunk_shape/],
    ['huge chunks', grid([1e3, 1e3, 1e3]), 'limit', /chunks of at most 268435456 bytes/],
    ['chunks of two axes', grid([16, 20]), 'malformed', /chunks of 3 axes/],
    ['another grid', { chunk_grid: { name: 'rectilinear' } }, 'unsupported', /"rectilinear"/],
    ['texts', { data_type: 'string' }, 'unsupported', /found string/],
    ['complex numbers', { data_type: 'complex64' }, 'unsupported', /found complex64/],
    ['booleans', { data_type: 'bool' }, 'unsupported', /found bool/],
    ['a type of its own', { data_type: { name: 'x' } }, 'unsupported', /found \{"name":"x"\}/],
    ['an unknown codec', { codecs: [bytes, { name: 'pcodec' }] }, 'unsupported', /found the codec pcodec/],
    ['no codec', { codecs: [] }, 'malformed', /a list of codecs/],
    ['no bytes', { codecs: [{ name: 'gzip' }] }, 'unsupported', /transpose at most once, bytes/],
    ['bytes twice', { codecs: [bytes, bytes] }, 'unsupported', /found bytes, bytes/],
    ['a codec without a name', { codecs: [{}] }, 'malformed', /a codec with a name/],
    [
      'middle-endian',
      { codecs: [{ name: 'bytes', configuration: { endian: 'middle' } }] },
      'malformed',
      /"middle"/,
    ],
    [
      'no order',
      { codecs: [{ name: 'transpose', configuration: { order: [0, 0, 1] } }, bytes] },
      'malformed',
      /an order of 3 axes/,
    ],
    ['fill value of a word', { fill_value: 'none' }, 'malformed', /a fill value for uint16, found "none"/],
    ['fill value of a half', { fill_value: 0.5 }, 'malformed', /found 0\.5/],
    ['keys', { chunk_key_encoding: { name: 'other' } }, 'unsupported', /chunk keys/],
    ['transformers', { storage_transformers: [{ name: 'x' }] }, 'unsupported', /no storage transformers/],
    [
      'sharding and more',
      { codecs: [{ name: 'transpose' }, { name: 'sharding_indexed' }] },
      'unsupported',
      /alone/,
    ],
  ];
  it.each(cases)('%s', async (_, changes, tag, message) => {
    const fault = await faultOfArray(arrayJson(changes));
    expect(fault.message).toMatch(message);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.file).toMatch(/^array/);
    expect(fault.fields.remedy).toBeTruthy();
  });

  const shards: readonly (readonly [string, Json, RegExp])[] = [
    ['chunks that do not divide', { chunk_shape: [4, 16, 20] }, /shards that 4 x 16 x 20 divides/],
    ['no chunks', { chunk_shape: null }, /whole numbers as chunk_shape of a shard, found null/],
    ['shards within shards', { codecs: [{ name: 'sharding_indexed' }] }, /found the codec sharding_indexed/],
    [
      'a packed index',
      { index_codecs: [{ name: 'bytes' }, { name: 'gzip' }] },
      /an index of little-endian bytes/,
    ],
    ['an index in the middle', { index_location: 'middle' }, /index_location start or end/],
  ];
  it.each(shards)('%s', async (_, changes, message) => {
    const json = shardJson(PACKERS.plain.codecs);
    const [codec] = json.codecs as [{ configuration: Json }];
    Object.assign(codec.configuration, changes);
    expect((await faultOfArray(json)).message).toMatch(message);
  });

  it('millions of chunks in a shard', async () => {
    const json = shardJson(PACKERS.plain.codecs);
    const [codec] = json.codecs as [{ configuration: Json }];
    codec.configuration.chunk_shape = [1, 1, 1];
    json.chunk_grid = { name: 'regular', configuration: { chunk_shape: [300, 300, 300] } };
    expect((await faultOfArray(json)).message).toContain('chunks in a shard, found 300 x 300 x 300');
  });

  it.each([
    ['{', /a JSON object, found /],
    ['[]', /found something else/],
    ['', /a JSON object/],
  ])('%s instead of JSON', async (text, message) => {
    mkdirSync(at('text'), { recursive: true });
    writeFileSync(join(at('text'), 'zarr.json'), text);
    const fault = await faultOf(openZarrVolume(at('text')));
    expect(fault.tag).toBe('malformed');
    expect(fault.message).toMatch(message);
  });

  it('no Zarr at all', async () => {
    mkdirSync(at('plain'));
    expect((await faultOf(openZarrVolume(at('plain')))).message).toContain('neither zarr.json nor');
    expect((await faultOf(openZarrVolume(at('nowhere')))).tag).toBe('malformed');
  });
});

describe('metadata of an image', () => {
  const zyx = ['z', 'y', 'x'].map((name) => ({ name, type: 'space', unit: 'micrometer' }));
  const scale = (...values: unknown[]) => ({ type: 'scale', scale: values });
  const dataset = (changes: Json) => ({
    datasets: [{ path: 's0', coordinateTransformations: [scale(1, 1, 1)], ...changes }],
  });
  const cases: readonly (readonly [string, Json, InputTag, RegExp])[] = [
    ['axes as plain names', { axes: ['z', 'y', 'x'] }, 'unsupported', /axes with a name/],
    ['no axes', { axes: undefined }, 'unsupported', /axes, as OME-Zarr has them since 0\.4/],
    ['no depth', { axes: zyx.slice(1) }, 'unsupported', /the axes z, y and x, found y, x/],
    ['an axis twice', { axes: [...zyx, zyx[0]] }, 'malformed', /different names/],
    ['no datasets', { datasets: [] }, 'malformed', /datasets, found \[\]/],
    ['no path', dataset({ path: 7 }), 'malformed', /a dataset with a path/],
    [
      'no scale',
      dataset({ coordinateTransformations: [] }),
      'malformed',
      /a scale, then at most one translation/,
    ],
    [
      'a short scale',
      dataset({ coordinateTransformations: [scale(1, 1)] }),
      'malformed',
      /scale of 3 numbers/,
    ],
    [
      'a scale of words',
      dataset({ coordinateTransformations: [scale('a', 1, 1)] }),
      'malformed',
      /3 numbers/,
    ],
    [
      'two scales',
      dataset({ coordinateTransformations: [scale(1, 1, 1), scale(1, 1, 1)] }),
      'malformed',
      /a scale, then/,
    ],
    ['an absent level', dataset({ path: 's9' }), 'inconsistent', /the array of full resolution, found none/],
    ['a way out', dataset({ path: '../secret' }), 'unsupported', /stay inside the folder/],
    [
      'four axes',
      {
        axes: [{ name: 't', type: 'time' }, ...zyx],
        ...dataset({ coordinateTransformations: [scale(1, 1, 1, 1)] }),
      },
      'inconsistent',
      /4 axes \(t, z, y, x\), found 3/,
    ],
  ];
  beforeAll(() => {
    put(at('image'), 's0/zarr.json', { ...arrayJson(), dimension_names: ['z', 'y', 'x'] });
    put(at('secret'), 'zarr.json', arrayJson());
  });
  it.each(cases)('%s', async (_, changes, tag, message) => {
    put(at('image'), 'zarr.json', imageJson(changes));
    const fault = await faultOf(openZarrVolume(at('image')));
    expect(fault.message).toMatch(message);
    expect(fault.tag).toBe(tag);
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('another version, and names of axes that differ', async () => {
    const json = imageJson() as { attributes: { ome: { version: string } } };
    json.attributes.ome.version = '0.6';
    put(at('image'), 'zarr.json', json as unknown as Json);
    expect((await faultOf(openZarrVolume(at('image')))).message).toContain(
      'version 0.5 or 0.4 in zarr.json, found 0.6',
    );
    put(at('image'), 'zarr.json', imageJson());
    put(at('image'), 's0/zarr.json', { ...arrayJson(), dimension_names: ['x', 'y', 'z'] });
    expect((await faultOf(openZarrVolume(at('image')))).message).toContain(
      'dimension_names z, y, x, found x, y, z',
    );
  });

  it('a group of several arrays', async () => {
    put(at('group'), 'zarr.json', { zarr_format: 3, node_type: 'group', attributes: {} });
    expect((await faultOf(openZarrVolume(at('group')))).message).toContain('a group that holds none');
    for (const name of ['a', 'b']) put(at('group'), `${name}/zarr.json`, arrayJson());
    const fault = await faultOf(openZarrVolume(at('group')));
    expect(fault.message).toContain('found 2: a (7 x 37 x 53), b (7 x 37 x 53)');
    expect((await openZarrVolume(at('group'), { array: 'b' })).shape.nz).toBe(7);
    expect((await faultOf(openZarrVolume(at('group'), { array: '../group/b' }))).message).toContain('inside');
  });
});

describe('chunks', () => {
  const damaged = async (name: string, codecs: readonly Json[], bytes: Uint8Array): Promise<InputFault> => {
    put(at(name), 'zarr.json', arrayJson({ codecs }));
    put(at(name), 'c/0/0/0', bytes);
    const source = await openZarrVolume(at(name));
    const fault = await faultOf(source.read({ k: [0, 1] }));
    // What is whole is still read: here all other chunks are absent.
    expect((await source.read({ k: [3, 7] }))[0]).toBe(41);
    await source.close();
    return fault;
  };
  const { gzip, zstd, plain, crc32c } = PACKERS;
  const blosc = [
    plain.codecs[0],
    {
      name: 'blosc',
      configuration: { cname: 'lz4', clevel: 5, shuffle: 'shuffle', typesize: 2, blocksize: 0 },
    },
  ];
  const header = (unpacked: number, block: number, packed: number): Buffer => {
    const bytes = Buffer.alloc(40);
    bytes.set([2, 1, 1, 2]);
    [unpacked, block, packed].forEach((value, n) => {
      bytes.writeUInt32LE(value, 4 + 4 * n);
    });
    return bytes;
  };
  const cases: readonly (readonly [string, readonly Json[], Uint8Array, RegExp])[] = [
    ['too short', plain.codecs, new Uint8Array(100), /chunk 0, 0, 0: .*found 100 of 1920 bytes/],
    ['too long', plain.codecs, new Uint8Array(2000), /found 2000 of 1920 bytes/],
    ['no gzip', gzip.codecs, new Uint8Array(100), /gzip data that do not decode/],
    [
      'gzip cut off',
      gzip.codecs,
      gzipSync(new Uint8Array(1920)).subarray(0, 12),
      /gzip data that do not decode/,
    ],
    ['a gzip bomb', gzip.codecs, gzipSync(new Uint8Array(5e7)), /gzip data for more than a chunk/],
    ['no zstd', zstd.codecs, new Uint8Array(100), /zstd data that do not decode/],
    ['a zstd bomb', zstd.codecs, zstdCompressSync(new Uint8Array(5e7)), /zstd data for more than a chunk/],
    ['a wrong checksum', crc32c.codecs, new Uint8Array(1924).fill(1), /checksum .* instead of/],
    ['a checksum alone', crc32c.codecs, new Uint8Array(3), /3 bytes where a checksum should be/],
    ['blosc too short', blosc, new Uint8Array(4), /blosc data of 4 bytes/],
    ['a blosc bomb', blosc, header(2 ** 31, 1024, 40), /blosc data for 2147483648 bytes/],
    ['blosc cut off', blosc, header(1920, 1024, 4000), /40 of 4000 bytes/],
    ['blosc blocks', blosc, header(1920, 4096, 40), /blosc blocks of 4096 bytes in 1920/],
    ['blosc noise', blosc, header(1920, 1920, 40), /a blosc block past the end/],
    ['a file far too long', plain.codecs, new Uint8Array(1e6), /at most 69376 bytes, found 1000000/],
  ];
  it.each(cases)('%s', async (name, codecs, bytes, message) => {
    const fault = await damaged(`chunk ${name}`, codecs, bytes);
    expect(fault.message).toMatch(message);
    expect(fault.fields.remedy).toBeTruthy();
  });

  it('a folder in the place of a chunk', async () => {
    put(at('folder'), 'zarr.json', arrayJson());
    mkdirSync(join(at('folder'), 'c/0/0/0'), { recursive: true });
    const source = await openZarrVolume(at('folder'));
    expect((await faultOf(source.read({ k: [0, 1] }))).message).toContain('found a folder');
  });

  it('shards: a forged index, a wrong checksum, and one that is cut off', async () => {
    const shard = 'c/0/0/0';
    const name = at('shards');
    put(name, 'zarr.json', shardJson(PACKERS.gzip.codecs));
    putShards(name, PACKERS.gzip.pack);
    const whole = readFileSync(join(name, shard));
    const read = async (bytes: Uint8Array): Promise<InputFault> => {
      writeFileSync(join(name, shard), bytes);
      const source = await openZarrVolume(name);
      return faultOf(source.read({ k: [0, 1] }));
    };
    const wrong = Buffer.from(whole);
    wrong[whole.length - 20] ^= 1;
    expect((await read(wrong)).message).toMatch(/checksum/);
    expect((await read(whole.subarray(0, 50))).message).toMatch(
      /132 bytes inside the file, found a file of 50/,
    );

    put(name, 'zarr.json', shardJson(PACKERS.gzip.codecs, { withChecksum: false }));
    putShards(name, PACKERS.gzip.pack, { withChecksum: false });
    const forged = readFileSync(join(name, shard));
    forged.writeBigUInt64LE(2n ** 40n, forged.length - 128 + 8);
    expect((await read(forged)).message).toMatch(/1099511627776 bytes.* inside the file/);
    forged.writeBigUInt64LE(2n ** 63n, forged.length - 128);
    expect((await read(forged)).tag).toBe('truncated');
  });
});

describe('links', () => {
  it('that leave the folder are followed only where that is allowed', async () => {
    put(at('outside'), 'zarr.json', arrayJson());
    putChunks(at('outside'), (bytes) => bytes);
    for (const [name, path] of [
      ['linked-folder', 'c'],
      ['linked-chunk', 'c/0/0/0'],
      ['linked-metadata', 'zarr.json'],
    ]) {
      cpSync(at('outside'), at(name), { recursive: true });
      rmSync(join(at(name), path), { recursive: true });
      symlinkSync(join(at('outside'), path), join(at(name), path));
      const fault = await faultOf(readThrough(openZarrVolume(at(name))));
      expect(fault.message, name).toMatch(/leads out of it\n.*--follow-links-out/);
      const source = await openZarrVolume(at(name), { allowOutside: true });
      expect(await readWhole(source), name).toEqual(VOXELS);
    }
    // A link to a neighbour inside is like any file, and so is a link to the whole folder.
    rmSync(join(at('linked-chunk'), 'c/0/0/0'));
    symlinkSync('1', join(at('linked-chunk'), 'c/0/0/0'));
    expect((await readThrough(openZarrVolume(at('linked-chunk')))).length).toBe(37 * 53);
    symlinkSync(at('outside'), at('linked-whole'));
    expect(await readWhole(await openZarrVolume(at('linked-whole')))).toEqual(VOXELS);
  });
});

describe.skipIf(!zarrPython.path)(`arrays by the reference implementation${zarrPython.note}`, () => {
  beforeAll(() => {
    mkdirSync(at('made'));
    run(zarrPython, [join(import.meta.dirname, '../../fixtures/volume/make-zarr.py'), at('made')]);
    handMadeZarr(at('made'));
  });

  it.each([
    ['codec-bz2', /found the codec "bz2"/],
    ['codec-lzma', /found the codec "lzma"/],
    ['delta', /found filter \{.*"id":"delta"/],
    ['two-times', /no other axis longer than 1, found 2 x 7 x 37 x 53/],
    ['ome-two-channels', /found 2 x 7 x 37 x 53 \(c, z, y, x\)/],
    ['ome-yx', /the axes z, y and x, found y, x/],
  ])('%s is refused by its name', async (name, message) => {
    const fault = await faultOf(openZarrVolume(join(at('made'), name)));
    expect(fault.tag).toBe('unsupported');
    expect(fault.message).toMatch(message);
  });

  it('damaged at random: voxels or a fault, never more', async () => {
    const random = generator(20260505);
    const names = [
      'codec-blosc-lz4',
      'codec-gzip',
      'codec-lz4',
      'ome',
      'order-f',
      'v3-image',
      'v3-shards-gzip-crc32c',
      'v3-zstd',
    ];
    let faults = 0;
    for (let round = 0; round < 400; round++) {
      damageFolder(join(at('made'), names[round % names.length]), at('case'), random);
      const end = await readThrough(openZarrVolume(at('case'))).catch((error: unknown) => error);
      if (end instanceof InputFault) faults++;
      else expect(end, `round ${round}`).not.toBeInstanceOf(Error);
    }
    expect(faults).toBeGreaterThan(100);
  }, 60_000);
});
