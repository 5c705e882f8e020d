/**
 * Series of PNG and JPEG files with a damaged one in it, many of them, made by ImageMagick (Debian: imagemagick).
 *
 *     node tests/fuzz/volume-pictures.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openPictureSeries } from '../../pipeline/formats/volume/pictures.ts';
import { mutated, readThrough } from '../fixtures/volume/mutations.ts';
import { makePictures } from '../fixtures/volume/pictures.ts';
import { fuzzVolumes, pick } from './volume-target.ts';

await fuzzVolumes(fileURLToPath(import.meta.url), {
  prepare: makePictures,
  run: async (folder, scratch, random) => {
    const name = pick(readdirSync(folder).sort(), random);
    const whole = join(folder, name);
    const file = join(scratch, `case-${name}`);
    writeFileSync(file, mutated(readFileSync(whole), random, 200));
    await readThrough(openPictureSeries(random() < 0.5 ? [file, whole] : [whole, file]));
  },
});
