/** Opens a layout by what its first bytes say, whatever its name ends in. */
import { InputFault } from '../../../shared/errors.ts';
import type { Layout } from '../layout.ts';
import { readHead } from './byte-source.ts';
import { nearestName } from './hierarchy.ts';
import type { OasisOptions } from './oasis.ts';

export interface OpenLayoutOptions extends OasisOptions {
  /** Name of the top cell; may be left out where only one cell is referenced by no other. */
  readonly top?: string | undefined;
}

export interface OpenedLayout {
  readonly layout: Layout;
  readonly top: string;
}

/** HEADER: 6 bytes, record 0, data type 2. @source GDS II Stream Format Manual 6.0, section 4. */
const GDSII_MAGIC = Buffer.from([0x00, 0x06, 0x00, 0x02]);
/** @source SEMI P39 (OASIS), the magic string at the beginning of a file. */
const OASIS_MAGIC = Buffer.from('%SEMI-OASIS\r\n', 'latin1');

/**
 * Reads a layout (GDSII Stream or OASIS, also packed with gzip) and settles its top cell.
 *
 * @throws InputFault when the file is of another kind or wrong in itself, when the named top cell is not there, or
 * when none is named and there is not exactly one
 */
export async function openLayout(file: string, options: OpenLayoutOptions = {}): Promise<OpenedLayout> {
  const head = await readHead(file, OASIS_MAGIC.length);
  const layout = await readByMagic(file, head, options);
  return { layout, top: topCellOf(layout, options.top) };
}

async function readByMagic(file: string, head: Buffer, options: OasisOptions): Promise<Layout> {
  if (head.subarray(0, GDSII_MAGIC.length).equals(GDSII_MAGIC)) {
    const { readGdsii } = await import('./gdsii.ts');
    return readGdsii(file, options);
  }
  if (head.equals(OASIS_MAGIC)) {
    const { readOasis } = await import('./oasis.ts');
    return readOasis(file, options);
  }
  throw new InputFault({
    tag: head.length === 0 ? 'truncated' : 'malformed',
    file,
    place: 'byte 0',
    expected:
      'a GDSII stream, which begins with 00 06 00 02, or an OASIS file, which begins with %SEMI-OASIS',
    found: head.length === 0 ? 'an empty file' : (head.toString('hex').match(/../g) ?? []).join(' '),
    remedy: 'Name the layout file itself, plain or packed with gzip.',
  });
}

/**
 * The cell to start from.
 *
 * @throws InputFault naming the nearest cell, or the candidates
 */
export function topCellOf(layout: Layout, name?: string): string {
  const { file, cells, topCells } = layout;
  if (name !== undefined) {
    if (cells.has(name)) return name;
    const nearest = nearestName(name, cells.keys());
    throw new InputFault({
      tag: 'inconsistent',
      file,
      expected: `the top cell "${name}"`,
      found: nearest === undefined ? 'no cells at all' : `no such cell; the nearest name is "${nearest}"`,
      remedy: 'Correct chip: layout: top: in the campaign.',
    });
  }
  if (topCells.length === 1) return topCells[0];
  if (topCells.length === 0) {
    const remedy = 'Write the layout again, with the cells of the chip.';
    throw new InputFault({ tag: 'inconsistent', file, expected: 'at least one cell', found: 'none', remedy });
  }
  const shown = topCells.slice(0, 12).map((cell) => `"${cell}"`);
  if (topCells.length > shown.length) shown.push(`and ${topCells.length - shown.length} more`);
  throw new InputFault({
    tag: 'inconsistent',
    file,
    expected: 'one cell that no other refers to',
    found: `${topCells.length}: ${shown.join(', ')}`,
    remedy: 'Name one of them under chip: layout: top: in the campaign.',
  });
}
