/**
 * Damaged HDF5 files, many of them, made from files by h5py (Debian: python3-h5py).
 *
 *     node tests/fuzz/volume-hdf5.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openHdf5Volume } from '../../pipeline/formats/volume/hdf5.ts';
import { mutated, readThrough } from '../fixtures/volume/mutations.ts';
import { h5py, run } from '../fixtures/volume/outside-programs.ts';
import { fuzzVolumes, pick } from './volume-target.ts';

await fuzzVolumes(fileURLToPath(import.meta.url), {
  prepare: (folder) => run(h5py, [join(import.meta.dirname, '../fixtures/volume/make-hdf5.py'), folder]),
  run: async (folder, scratch, random) => {
    const names = readdirSync(folder).filter((name) => name.endsWith('.h5'));
    const file = join(scratch, 'case.h5');
    const source = readFileSync(join(folder, pick(names.sort(), random)));
    // Objects of small files lie all over them.
    writeFileSync(file, mutated(source, random, random() < 0.5 ? 1024 : 8192));
    await readThrough(openHdf5Volume(file));
  },
});
