/** OASIS (SEMI P39), plain or packed with gzip. */
import { setImmediate } from 'node:timers/promises';
import type { Layout } from '../layout.ts';
import { type ReadOptions, readWhole } from './byte-source.ts';
import { checkHierarchy } from './hierarchy.ts';
import { assembleCells } from './oasis-assembly.ts';
import { OasisParser } from './oasis-parser.ts';

export interface OasisOptions extends ReadOptions {
  /**
   * Refuses a file whose layout takes up more memory. Default: 128 MiB and 256 bytes for each byte on the disk, which
   * only a file made to do harm can reach.
   */
  readonly maximumLayoutBytes?: number;
}

/** Progress is told, and an abort heard, each time so many bytes have been read. */
const SLICE = 8 * 2 ** 20;

/**
 * Reads a whole layout, with its hierarchy as it stands; repetitions stay arrays where they are lattices. The file is
 * held in memory while it is read.
 *
 * @throws InputFault naming byte offset and record for anything that is not OASIS 1.0, for a validation signature that
 * does not fit, for numbers that no name table holds, for a reference to a cell that is not there, and for references
 * in a circle
 */
export async function readOasis(file: string, options: OasisOptions = {}): Promise<Layout> {
  const { bytes, diskBytes } = await readWhole(file, options);
  const parser = new OasisParser(file, bytes, diskBytes, options);
  while (!parser.run(parser.cursor.at + SLICE)) {
    options.onProgress?.(Math.floor((diskBytes * parser.cursor.at) / bytes.length), diskBytes);
    await setImmediate();
    options.signal?.throwIfAborted();
  }
  options.onProgress?.(diskBytes, diskBytes);
  const { cells, firstReferred } = assembleCells(file, parser.cells, parser.names);
  parser.labels.finish(file);
  parser.properties.finish(file);
  const topCells = checkHierarchy(file, cells, (name) => firstReferred.get(name));
  return {
    file,
    format: 'oasis',
    dbuUm: Number((1 / parser.stepsPerUm).toPrecision(14)),
    cells,
    topCells,
    bytes: bytes.length,
    notes: [...parser.tally.notes(), ...parser.tables.notes()],
  };
}
