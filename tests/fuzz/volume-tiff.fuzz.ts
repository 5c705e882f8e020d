/**
 * Damaged TIFF files, many of them, made from files by tifffile and libtiff (Debian: python3-tifffile, libtiff-tools).
 *
 *     node tests/fuzz/volume-tiff.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openTiffStack } from '../../pipeline/formats/volume/tiff.ts';
import { mutated, readThrough } from '../fixtures/volume/mutations.ts';
import { run, tiffcp } from '../fixtures/volume/outside-programs.ts';
import { makeTiffs } from '../fixtures/volume/stacks.ts';
import { fuzzVolumes, pick } from './volume-target.ts';

/** Compressions and layouts that tifffile alone does not write. */
const COPIES: Readonly<Record<string, readonly string[]>> = {
  jpeg: ['-c', 'jpeg', '-r', '16', 'uint8.tif'],
  'jpeg-tiles': ['-c', 'jpeg', '-t', '-w', '16', '-l', '16', 'uint8.tif'],
  zstd: ['-c', 'zstd:2', '-r', '9', 'uint16.tif'],
  lzw: ['-c', 'lzw:2', '-B', '-t', '-w', '32', '-l', '16', 'uint16.tif'],
  packbits: ['-c', 'packbits', '-r', '37', 'int8.tif'],
};

await fuzzVolumes(fileURLToPath(import.meta.url), {
  prepare: (folder) => {
    makeTiffs(folder);
    for (const [name, how] of Object.entries(COPIES)) {
      run(tiffcp, [...how.slice(0, -1), join(folder, how.at(-1) ?? ''), join(folder, `copy-${name}.tif`)]);
    }
  },
  run: async (folder, scratch, random) => {
    const names = readdirSync(folder).filter((name) => name.endsWith('.tif'));
    const file = join(scratch, 'case.tif');
    const source = readFileSync(join(folder, pick(names.sort(), random)));
    // Directories of plain files stand at the start, of others at the end.
    const fromEnd = random() < 0.4;
    const damaged = mutated(fromEnd ? source.toReversed() : source, random, 512);
    writeFileSync(file, fromEnd ? damaged.toReversed() : damaged);
    await readThrough(openTiffStack([file]));
  },
});
