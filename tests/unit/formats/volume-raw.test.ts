/** Raw volumes: every number type in either byte order, written by DataView as the language standard defines it. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { openRawVolume, type RawType } from '../../../pipeline/formats/volume/raw.ts';
import { openVolume } from '../../../pipeline/formats/volume/registry.ts';
import { InputFault } from '../../../shared/errors.ts';
import { generator } from '../../fixtures/volume/random.ts';
import { readWhole, scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);
const file = join(folder, 'volume.raw');

type Put = (view: DataView, at: number, value: number, little: boolean) => void;
const writers: Record<string, readonly [size: number, put: Put, values: readonly number[]]> = {
  uint8: [1, (v, at, x) => v.setUint8(at, x), [0, 1, 128, 255]],
  int8: [1, (v, at, x) => v.setInt8(at, x), [0, -1, -128, 127]],
  uint16: [2, (v, at, x, little) => v.setUint16(at, x, little), [0, 1, 258, 65535]],
  int16: [2, (v, at, x, little) => v.setInt16(at, x, little), [0, -2, -32768, 32767]],
  uint32: [4, (v, at, x, little) => v.setUint32(at, x, little), [0, 1, 0x01020304, 0xffffffff]],
  int32: [4, (v, at, x, little) => v.setInt32(at, x, little), [0, -2, -(2 ** 31), 2 ** 31 - 1]],
  float32: [4, (v, at, x, little) => v.setFloat32(at, x, little), [0, -1.5, 2 ** -140, Number.NaN]],
  float64: [
    8,
    (v, at, x, little) => v.setFloat64(at, x, little),
    [0, -1.1, 5e-324, Number.POSITIVE_INFINITY],
  ],
};
const dtypes = Object.keys(writers).flatMap((name) =>
  name.endsWith('8') ? [name] : [`${name}le`, `${name}be`],
) as RawType[];

const shape = [2, 3, 4] as const;
const COUNT = 24;

function write(dtype: RawType, offset: number): number[] {
  const [size, put, values] = writers[dtype.replace(/(le|be)$/, '')];
  const view = new DataView(new ArrayBuffer(offset + COUNT * size));
  const all = Array.from({ length: COUNT }, (_, n) => values[(n + (n >> 2)) % values.length]);
  all.forEach((value, n) => {
    put(view, offset + n * size, value, !dtype.endsWith('be'));
  });
  writeFileSync(file, new Uint8Array(view.buffer));
  return all;
}

const faultOf = async (opening: Promise<unknown>): Promise<InputFault> => {
  const fault = await opening.catch((error: unknown) => error);
  if (fault instanceof InputFault) return fault;
  throw new Error(`no fault: ${fault}`);
};

describe('raw volumes', () => {
  it.each(dtypes)('%s', async (dtype) => {
    for (const offsetBytes of [0, 7]) {
      const values = write(dtype, offsetBytes);
      const source = await openRawVolume(file, { shape, dtype, offsetBytes });
      expect(source.shape).toEqual({ nz: 2, ny: 3, nx: 4 });
      expect(source.type).toBe(dtype.replace(/(le|be)$/, ''));
      expect([...(await source.read({ k: [1, 2], j: [1, 3], i: [1, 3] }))]).toEqual(
        [17, 18, 21, 22].map((n) => values[n]),
      );
      expect([...(await readWhole(source))]).toEqual(values);
    }
  });

  it('a size other than shape and type make', async () => {
    write('uint16le', 0);
    const fault = await faultOf(openRawVolume(file, { shape: [2, 3, 5], dtype: 'uint16le' }));
    expect(fault.tag).toBe('inconsistent');
    expect(fault.message).toContain('60 bytes (2 slices x 3 rows x 5 columns of uint16le)');
    expect(fault.message).toContain('found 48 bytes');
    const late = await faultOf(openRawVolume(file, { shape, dtype: 'uint16le', offsetBytes: 1 }));
    expect(late.message).toContain('after 1 bytes');
  });

  it('a shape or an offset that is none', async () => {
    for (const wrong of [
      [0, 3, 4],
      [2, -3, 4],
      [2, 3, 1.5],
      [2, 3, Number.NaN],
    ] as const) {
      expect((await faultOf(openRawVolume(file, { shape: wrong, dtype: 'uint8' }))).message).toContain(
        'as shape',
      );
    }
    const offset = await faultOf(openRawVolume(file, { shape, dtype: 'uint8', offsetBytes: -1 }));
    expect(offset.message).toContain('to pass over');
  });

  it('any length under any description: voxels or a fault, never more', async () => {
    const random = generator(20260509);
    const sides = [0, 1, 2, 3, 5, 8, -1, 1.5, 2 ** 31, 2 ** 53, Number.NaN];
    const pick = <T>(list: readonly T[]): T => list[Math.floor(random() * list.length)];
    const ends = { voxels: 0, faults: 0 };
    for (let round = 0; round < 400; round++) {
      const side = () => (random() < 0.9 ? 1 + Math.floor(random() * 6) : pick(sides));
      const any = [side(), side(), side()] as const;
      const dtype = pick(dtypes);
      const stated = (any[0] * any[1] * any[2] * Number(/\d+/.exec(dtype)?.[0])) / 8;
      const isRight = Number.isSafeInteger(stated) && stated > 0 && stated < 4096 && random() < 0.5;
      writeFileSync(file, new Uint8Array(isRight ? stated : Math.floor(random() * 512)));
      const end = await openRawVolume(file, { shape: any, dtype }).then(readWhole, (error: unknown) => error);
      if (end instanceof InputFault) ends.faults++;
      else {
        expect((end as { byteLength: number }).byteLength, `round ${round}`).toBe(stated);
        ends.voxels++;
      }
    }
    expect(Math.min(ends.voxels, ends.faults)).toBeGreaterThan(50);
  });

  it('a file that is not there, a folder, and a file cut off after opening', async () => {
    expect((await faultOf(openRawVolume(join(folder, 'none'), { shape, dtype: 'uint8' }))).tag).toBe(
      'missing-file',
    );
    mkdirSync(join(folder, 'sub'));
    expect((await faultOf(openRawVolume(join(folder, 'sub'), { shape, dtype: 'uint8' }))).message).toContain(
      'a folder',
    );
    write('uint8', 0);
    const source = await openVolume(
      { kind: 'raw', file, shape, dtype: 'uint8' },
      { nameOf: () => 'volume.raw' },
    );
    writeFileSync(file, new Uint8Array(13));
    const fault = await faultOf(source.read({ k: [1, 2] }));
    expect(fault.tag).toBe('truncated');
    expect(fault.message).toMatch(/^volume\.raw, byte 13: expected 12 bytes from byte 12 on, found the end/);
    await source.close();
  });
});
