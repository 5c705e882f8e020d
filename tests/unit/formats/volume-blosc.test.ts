/** Blosc containers by c-blosc (through Python's numcodecs): every coder, shuffle, size of value and of block. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { decodeBlosc } from '../../../pipeline/formats/volume/blosc.ts';
import { DamagedData } from '../../../pipeline/formats/volume/damaged-data.ts';
import { mutated } from '../../fixtures/volume/mutations.ts';
import { run, zarrPython } from '../../fixtures/volume/outside-programs.ts';
import { generator } from '../../fixtures/volume/random.ts';
import { scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
afterAll(remove);

describe.skipIf(!zarrPython.path)(`Blosc${zarrPython.note}`, () => {
  beforeAll(() =>
    run(zarrPython, [join(import.meta.dirname, '../../fixtures/volume/make-blosc.py'), folder]),
  );
  const files = (): string[] => readdirSync(folder).filter((name) => name.endsWith('.blosc'));
  const packed = (name: string): Buffer => readFileSync(join(folder, name));
  const plain = (name: string): Buffer => readFileSync(join(folder, name.replace(/blosc$/, 'raw')));

  it.each(['blosclz', 'lz4', 'lz4hc', 'snappy', 'zlib', 'zstd'])('%s', (coder) => {
    const names = files().filter((name) => name.startsWith(`${coder}-`));
    expect(names.length).toBe(168);
    for (const name of names) {
      const bytes = plain(name);
      expect(bytes.equals(decodeBlosc(packed(name), bytes.length)), name).toBe(true);
    }
  });

  it('more than was allowed is not made', () => {
    for (const name of files().slice(0, 40)) {
      expect(() => decodeBlosc(packed(name), plain(name).length - 1), name).toThrow(/more than a chunk/);
    }
  });

  it('cut off anywhere', () => {
    for (const name of files().filter((file) => file.includes('-5000-'))) {
      const bytes = packed(name);
      for (let length = 0; length < bytes.length; length += 1 + (length >> 1)) {
        expect(() => decodeBlosc(bytes.subarray(0, length), 1e6), name).toThrow(DamagedData);
      }
    }
  });

  it('bytes changed at random: as many bytes as it says, or damage', () => {
    const random = generator(20260507);
    const names = files().filter((file) => !file.includes('-70001-'));
    let damaged = 0;
    for (let round = 0; round < 3000; round++) {
      const bytes = mutated(packed(names[Math.floor(random() * names.length)]), random, 64);
      try {
        expect(decodeBlosc(bytes, 200_000).length).toBe(bytes.readUInt32LE(4));
      } catch (error) {
        expect(error, `round ${round}`).toBeInstanceOf(DamagedData);
        damaged++;
      }
    }
    expect(damaged).toBeGreaterThan(500);
  });
});
