/**
 * Zarr folders with damaged metadata or chunks, many of them, made from arrays by the reference implementation
 * (Debian: python3-zarr) and from shards put together byte by byte.
 *
 *     node tests/fuzz/volume-zarr.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openZarrVolume } from '../../pipeline/formats/volume/zarr.ts';
import { damageFolder } from '../fixtures/volume/damaged-zarr.ts';
import { handMadeZarr } from '../fixtures/volume/hand-made-zarr.ts';
import { readThrough } from '../fixtures/volume/mutations.ts';
import { run, zarrPython } from '../fixtures/volume/outside-programs.ts';
import { fuzzVolumes, pick } from './volume-target.ts';

await fuzzVolumes(fileURLToPath(import.meta.url), {
  prepare: (folder) => {
    run(zarrPython, [join(import.meta.dirname, '../fixtures/volume/make-zarr.py'), folder]);
    handMadeZarr(folder);
  },
  run: async (folder, scratch, random) => {
    const names = readdirSync(folder, { withFileTypes: true })
      .filter((entry) => entry.isDirectory())
      .map((entry) => entry.name);
    const target = join(scratch, 'case.zarr');
    damageFolder(join(folder, pick(names.sort(), random)), target, random);
    await readThrough(openZarrVolume(target));
  },
});
