/**
 * Damaged OASIS files, many of them.
 *
 *     node tests/fuzz/layout-oasis.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { fileURLToPath } from 'node:url';
import { readOasis } from '../../pipeline/formats/layout/oasis.ts';
import { damagedOasis } from '../fixtures/layout/damaged-files.ts';
import { readAndAsk } from '../fixtures/layout/read-and-ask.ts';
import { fuzz } from './harness.ts';

await fuzz(fileURLToPath(import.meta.url), {
  fileName: 'damaged.oas',
  makeCases: damagedOasis,
  run: (file) => readAndAsk(() => readOasis(file)),
});
