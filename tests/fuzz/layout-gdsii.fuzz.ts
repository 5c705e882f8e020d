/**
 * Damaged GDSII files, many of them.
 *
 *     node tests/fuzz/layout-gdsii.fuzz.ts [count, default 20000] [seed, default 1]
 */
import { fileURLToPath } from 'node:url';
import { readGdsii } from '../../pipeline/formats/layout/gdsii.ts';
import { damagedGdsii } from '../fixtures/layout/damaged-files.ts';
import { readAndAsk } from '../fixtures/layout/read-and-ask.ts';
import { fuzz } from './harness.ts';

await fuzz(fileURLToPath(import.meta.url), {
  fileName: 'damaged.gds',
  makeCases: damagedGdsii,
  run: (file) => readAndAsk(() => readGdsii(file)),
});
