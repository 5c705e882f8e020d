/** Checks of how cells refer to each other, made once when a layout has been read. */
import { closest } from 'fastest-levenshtein';
import { InputFault } from '../../../shared/errors.ts';
import type { LayoutCell } from '../layout.ts';

/** Longest chain of references a layout may have; queries may recurse as deep as this. */
export const MAXIMUM_DEPTH = 512;

/**
 * Every referenced cell must be there, and no chain of references may close or be longer than `MAXIMUM_DEPTH`.
 *
 * @param placeOf where the file names a referenced cell first, for the message
 * @returns the cells that no other cell refers to, in file order
 * @throws InputFault
 */
export function checkHierarchy(
  file: string,
  cells: ReadonlyMap<string, LayoutCell>,
  placeOf: (cell: string) => string | undefined,
): string[] {
  const referenced = new Set<string>();
  for (const cell of cells.values()) {
    for (const target of cell.references.targets) {
      referenced.add(target);
      if (!cells.has(target)) throw missingCell(file, cells, cell.name, target, placeOf(target));
    }
  }
  checkChains(file, cells);
  return [...cells.keys()].filter((name) => !referenced.has(name));
}

function missingCell(
  file: string,
  cells: ReadonlyMap<string, LayoutCell>,
  parent: string,
  target: string,
  place: string | undefined,
): InputFault {
  const nearest = nearestName(target, cells.keys());
  return new InputFault({
    tag: 'inconsistent',
    file,
    ...(place === undefined ? {} : { place }),
    expected: `the cell "${target}", which "${parent}" refers to`,
    found: nearest === undefined ? 'no such cell' : `no such cell (nearest name: "${nearest}")`,
    remedy: 'Write the layout with all cells it refers to.',
  });
}

/** Depth-first without recursion, since the file decides how deep it goes. */
function checkChains(file: string, cells: ReadonlyMap<string, LayoutCell>): void {
  /** Levels below each finished cell. */
  const height = new Map<string, number>();
  const open = new Set<string>();
  for (const root of cells.keys()) {
    if (height.has(root)) continue;
    const stack = [{ name: root, next: 0, height: 0 }];
    open.add(root);
    while (stack.length > 0) {
      const frame = stack[stack.length - 1];
      const targets = cells.get(frame.name)?.references.targets ?? [];
      if (frame.next === targets.length) {
        height.set(frame.name, frame.height);
        open.delete(frame.name);
        stack.pop();
        const parent = stack.at(-1);
        if (parent) parent.height = Math.max(parent.height, frame.height + 1);
        continue;
      }
      const target = targets[frame.next++];
      const known = height.get(target);
      if (known !== undefined) {
        frame.height = Math.max(frame.height, known + 1);
      } else if (open.has(target)) {
        const names = stack.map(({ name }) => name);
        throw cycle(file, [...names.slice(names.indexOf(target)), target]);
      } else {
        open.add(target);
        stack.push({ name: target, next: 0, height: 0 });
      }
    }
    const depth = height.get(root) ?? 0;
    if (depth > MAXIMUM_DEPTH) throw tooDeep(file, root, depth);
  }
}

function cycle(file: string, names: readonly string[]): InputFault {
  const shown = names.length > 12 ? [...names.slice(0, 6), '...', ...names.slice(-6)] : names;
  return new InputFault({
    tag: 'inconsistent',
    file,
    place: `cell "${names[0]}"`,
    expected: 'no cell that contains itself',
    found: shown.map((name) => (name === '...' ? name : `"${name}"`)).join(' > '),
    remedy: 'Break the circle of references in the program that wrote the file.',
  });
}

const tooDeep = (file: string, root: string, depth: number): InputFault =>
  new InputFault({
    tag: 'limit',
    file,
    place: `cell "${root}"`,
    expected: `at most ${MAXIMUM_DEPTH} levels of references`,
    found: `${depth}`,
    remedy: 'Flatten some levels of the hierarchy.',
  });

/** The name nearest by edit distance, if there is any name at all. */
export function nearestName(name: string, names: Iterable<string>): string | undefined {
  const all = [...names];
  return all.length === 0 ? undefined : closest(name, all);
}
