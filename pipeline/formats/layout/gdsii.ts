/** GDSII Stream, plain or packed with gzip. */
import type { Layout } from '../layout.ts';
import { feedFile, type ReadOptions } from './byte-source.ts';
import { GdsiiParser } from './gdsii-parser.ts';
import { checkHierarchy } from './hierarchy.ts';

/**
 * Reads a whole layout, with its hierarchy as it stands. Memory: about the coordinates of the file, plus a few
 * megabytes; the file itself passes through in chunks.
 *
 * @throws InputFault naming byte offset and record for anything that is not GDSII Stream release 6, for a
 * reference to a cell that is not there, and for references in a circle
 */
export async function readGdsii(file: string, options: ReadOptions = {}): Promise<Layout> {
  const parser = new GdsiiParser(file);
  const { bytes, left } = await feedFile(file, options, (chunk, view, from, to) =>
    parser.consume(chunk, view, from, to),
  );
  parser.finish(left);
  const { cells, firstNamed, tally } = parser;
  const topCells = checkHierarchy(file, cells, (name) => firstNamed.get(name));
  return {
    file,
    format: 'gdsii',
    dbuUm: micrometres(parser.dbuMetres),
    cells,
    topCells,
    bytes,
    notes: tally.notes(),
  };
}

/** An 8-byte real carries 1e-9 with an error in the 17th digit; what was meant has fewer digits. */
const micrometres = (metres: number): number => Number((metres * 1e6).toPrecision(14));
