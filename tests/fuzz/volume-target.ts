/**
 * Volumes for the long runs: whole files are made once per process by their outside makers, each case damages one of
 * them. A case is its seed and number; files and folders are written when it is run.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { InputFault } from '../../shared/errors.ts';
import { generator } from '../fixtures/volume/random.ts';
import { fuzz } from './harness.ts';

export interface VolumeReader {
  /** Writes whole files into a folder. */
  readonly prepare: (folder: string) => void;
  /**
   * Damages a file and reads it; a fault is thrown. `scratch` is an empty folder, or one with the last case in it.
   */
  readonly run: (folder: string, scratch: string, random: () => number) => Promise<unknown>;
}

export async function fuzzVolumes(script: string, reader: VolumeReader): Promise<void> {
  let sources = '';
  await fuzz(script, {
    fileName: 'case.json',
    makeCases: (seed) => {
      // Called once per process, before the clock of the first case runs.
      sources = mkdtempSync(join(tmpdir(), 'fuzz-sources-'));
      process.once('exit', () => rmSync(sources, { recursive: true, force: true }));
      reader.prepare(sources);
      return (number) => Buffer.from(JSON.stringify({ seed, number }));
    },
    run: async (file) => {
      const { seed, number } = JSON.parse(readFileSync(file, 'utf8'));
      try {
        await reader.run(sources, dirname(file), generator(seed * 1_000_003 + number));
        return 'voxels';
      } catch (error) {
        if (error instanceof InputFault) return `fault: ${error.tag}`;
        throw error;
      }
    },
  });
}

export const pick = <T>(list: readonly T[], random: () => number): T =>
  list[Math.floor(random() * list.length)];
