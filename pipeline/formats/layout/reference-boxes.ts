/** Boxes of what the references of a cell bring into it. */
import { type Box, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, LatticeBlock, ReferenceBlock } from '../layout.ts';
import { type Lattice, latticeBox } from './lattice.ts';
import { transformBox } from './transform-box.ts';

export function latticeAt(lattices: LatticeBlock, n: number): Lattice {
  const { columns, rows, stepsDbu } = lattices;
  return {
    columns: columns[n],
    rows: rows[n],
    ux: stepsDbu[4 * n],
    uy: stepsDbu[4 * n + 1],
    vx: stepsDbu[4 * n + 2],
    vy: stepsDbu[4 * n + 3],
  };
}

/** References to one cell in one orientation: their images differ only by a shift. */
interface Group {
  readonly target: number;
  readonly reference: number;
  readonly a: number;
  readonly b: number;
  readonly c: number;
  readonly d: number;
  shifts: Box;
}

/** A reference is looked for among this many groups of its target; there are eight plain orientations. */
const SEARCHED = 8;

/**
 * Widens `boxes` by what the references bring.
 *
 * Grouping by orientation first makes the work per reference independent of the number of drawn layers.
 */
export function boxesOfReferences(
  references: ReferenceBlock,
  boxes: Map<DrawnLayer, Box>,
  childBoxes: (target: number, magnification: number) => ReadonlyMap<DrawnLayer, Box>,
): void {
  for (const group of groupsOf(references)) {
    const { reference, shifts } = group;
    const linear = [group.a, group.b, 0, group.c, group.d, 0];
    for (const [drawn, box] of childBoxes(group.target, references.magnifications[reference])) {
      const [x0, y0, x1, y1] = transformBox(linear, box);
      const image: Box = [x0 + shifts[0], y0 + shifts[1], x1 + shifts[2], y1 + shifts[3]];
      boxes.set(drawn, unionBox(boxes.get(drawn) ?? EMPTY_BOX, image));
    }
  }
}

function* groupsOf(references: ReferenceBlock): Iterable<Group> {
  const byTarget: Group[][] = references.targets.map(() => []);
  const { transforms, target } = references;
  for (let n = 0; n < references.count; n++) {
    const [a, b, tx, c, d, ty] = transforms.subarray(6 * n, 6 * n + 6);
    const shifts = latticeBox(latticeAt(references, n), [tx, ty, tx, ty]);
    const groups = byTarget[target[n]];
    const known = groups.find((g) => g.a === a && g.b === b && g.c === c && g.d === d);
    if (known !== undefined) {
      known.shifts = unionBox(known.shifts, shifts);
      continue;
    }
    groups.push({ target: target[n], reference: n, a, b, c, d, shifts });
    // Free angles would make the search long: the oldest group is handed out, which costs nothing but sharing.
    if (groups.length > SEARCHED) yield groups.shift() as Group;
  }
  for (const groups of byTarget) yield* groups;
}
