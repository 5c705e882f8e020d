/** How many shapes a layout holds, told without opening a reference. */
import { type DrawnLayer, type LatticeBlock, type Layout, polygonCount } from '../layout.ts';
import { indexOf } from './layout-index.ts';

export interface ShapeCounts {
  /** Shapes in the cells at and below the top cell, each cell once, every member of a repetition counted. */
  readonly stored: number;
  /** Shapes after every reference is opened out. Paths that cover nothing count too. */
  readonly flat: number;
}

/**
 * Shapes by drawn layer: how often a cell occurs is the sum over its parents' occurrences, so the work is one pass
 * over the references.
 *
 * @throws RangeError when the layout has no cell `top`
 */
export function countShapes(layout: Layout, top: string): Map<DrawnLayer, ShapeCounts> {
  const index = indexOf(layout);
  const occurrences = new Map<number, number>([[index.numberOf(top), 1]]);
  for (const cell of parentsFirst(index.children, index.numberOf(top))) {
    const { references } = index.cells[cell];
    const times = occurrences.get(cell) ?? 0;
    for (let n = 0; n < references.count; n++) {
      const child = index.children[cell][references.target[n]];
      const members = references.columns[n] * references.rows[n];
      occurrences.set(child, (occurrences.get(child) ?? 0) + times * members);
    }
  }
  const counts = new Map<DrawnLayer, ShapeCounts>();
  for (const [cell, times] of occurrences) {
    const { polygons, paths, arrays } = index.cells[cell];
    for (const blocks of [polygons, paths]) {
      for (const [drawn, block] of blocks) {
        const { stored, flat } = counts.get(drawn) ?? { stored: 0, flat: 0 };
        const own = polygonCount(block);
        counts.set(drawn, { stored: stored + own, flat: flat + own * times });
      }
    }
    for (const [drawn, block] of arrays) {
      const { stored, flat } = counts.get(drawn) ?? { stored: 0, flat: 0 };
      const own = membersOf(block.polygonLattices) + membersOf(block.pathLattices);
      counts.set(drawn, { stored: stored + own, flat: flat + own * times });
    }
  }
  return counts;
}

function membersOf({ columns, rows }: LatticeBlock): number {
  let members = 0;
  for (let n = 0; n < columns.length; n++) members += columns[n] * rows[n];
  return members;
}

/** Cells at and below the top cell, each after all that refer to it. */
function parentsFirst(children: readonly Uint32Array[], top: number): number[] {
  const finished: number[] = [];
  const seen = new Set<number>([top]);
  const visit = (cell: number): void => {
    for (const child of children[cell]) {
      if (seen.has(child)) continue;
      seen.add(child);
      visit(child);
    }
    finished.push(cell);
  };
  visit(top);
  return finished.reverse();
}
