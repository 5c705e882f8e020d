/** Puts the cells of an OASIS file together once all its name tables are read. */
import { InputFault } from '../../../shared/errors.ts';
import type { LayoutCell, ReferenceBlock } from '../layout.ts';
import type { NameTables } from './oasis-names.ts';
import type { ReadCell } from './oasis-parser.ts';

export interface AssembledCells {
  readonly cells: ReadonlyMap<string, LayoutCell>;
  /** Where each referenced cell was first named. */
  readonly firstReferred: ReadonlyMap<string, string>;
}

/** @throws InputFault for a number without a name, and for a cell that is there twice */
export function assembleCells(file: string, read: readonly ReadCell[], names: NameTables): AssembledCells {
  const firstReferred = new Map<string, string>();
  for (const [key, place] of names.firstReferred) {
    const name = names.cellName(key, file, place);
    if (!firstReferred.has(name)) firstReferred.set(name, place);
  }
  const cells = new Map<string, LayoutCell>();
  for (const { key, cell, place } of read) {
    const name = names.cellName(key, file, place);
    if (cells.has(name)) {
      throw new InputFault({
        tag: 'inconsistent',
        file,
        place,
        expected: 'every cell once',
        found: `"${name}" a second time`,
        remedy: 'Rename or drop one of the two.',
      });
    }
    const references = renamed(cell.references, (target) => names.cellName(target, file, place));
    cells.set(name, { ...cell, name, references });
  }
  return { cells, firstReferred };
}

/** Two keys, a name and a number, may turn out to be one cell. */
function renamed(references: ReferenceBlock, nameOf: (key: string) => string): ReferenceBlock {
  if (references.count === 0) return references;
  const found = references.targets.map(nameOf);
  const targets = [...new Set(found)];
  if (targets.length === found.length) return { ...references, targets };
  const numbers = new Map(targets.map((name, number) => [name, number]));
  const target = references.target.map((number) => numbers.get(found[number]) ?? 0);
  return { ...references, targets, target };
}
