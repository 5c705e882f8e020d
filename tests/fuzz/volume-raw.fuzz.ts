/**
 * Raw volumes of any length under any description, many of them.
 *
 *     node tests/fuzz/volume-raw.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openRawVolume, type RawType } from '../../pipeline/formats/volume/raw.ts';
import { rawTypes } from '../../shared/artefacts/campaign.ts';
import { readThrough } from '../fixtures/volume/mutations.ts';
import { fuzzVolumes, pick } from './volume-target.ts';

const SIDES = [0, 1, 2, 3, 5, 8, 13, -1, 1.5, 2 ** 31, 2 ** 53, Number.NaN, Number.POSITIVE_INFINITY];

await fuzzVolumes(fileURLToPath(import.meta.url), {
  prepare: () => {},
  run: async (_, scratch, random) => {
    const file = join(scratch, 'case.raw');
    const dtype: RawType = pick(rawTypes, random);
    const side = () => (random() < 0.9 ? 1 + Math.floor(random() * 9) : pick(SIDES, random));
    const shape = [side(), side(), side()] as const;
    const offsetBytes = random() < 0.7 ? 0 : pick(SIDES, random);
    const stated = offsetBytes + (shape[0] * shape[1] * shape[2] * Number(/\d+/.exec(dtype)?.[0])) / 8;
    const isRight = Number.isSafeInteger(stated) && stated >= 0 && stated < 65536 && random() < 0.6;
    writeFileSync(file, new Uint8Array(isRight ? stated : Math.floor(random() * 4096)));
    await readThrough(openRawVolume(file, { shape, dtype, offsetBytes }));
  },
});
