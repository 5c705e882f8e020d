/** Which cells' labels speak for the chip, and which only for the cell. */
import { boundsUm } from '../../formats/layout/flatten.ts';
import type { Layout } from '../../formats/layout.ts';

/** top: names nets of the chip; once: names them within a cell that occurs once; many: within one of many like it. */
export type LabelReach = 'top' | 'once' | 'many';

/** Share of the top cell's area from which on a cell is the chip, or its wiring, and no part among others. */
const CHIP_SHARE = 0.5;

/**
 * How far the labels of each cell reach. A pin called "A" inside a gate says how the gate calls it, not the chip, even
 * if there is one such gate; the labels of a cell that only wraps the chip or holds its wiring do name the chip's nets.
 * Such a cell occurs once, in cells that are such themselves, and is at least half as large as the top cell.
 * @returns reach by cell name, for the cells below `top`
 */
export function labelReaches(layout: Layout, top: string): Map<string, LabelReach> {
  const whole = areaOf(layout, top);
  const reaches = new Map<string, LabelReach>([[top, 'top']]);
  const occurrences = occurrencesBelow(layout, top);
  for (const [name, { count, parents }] of occurrences) {
    if (name === top) continue;
    const inside = parents.every((parent) => reaches.get(parent) === 'top');
    const large = whole > 0 && areaOf(layout, name) >= CHIP_SHARE * whole;
    reaches.set(name, count > 1 ? 'many' : inside && large ? 'top' : 'once');
  }
  return reaches;
}

function areaOf(layout: Layout, cell: string): number {
  const box = boundsUm(layout, cell);
  return box ? (box[2] - box[0]) * (box[3] - box[1]) : 0;
}

/** How often each cell occurs when all references are opened out, holders before what they hold. */
function occurrencesBelow(layout: Layout, top: string): Map<string, { count: number; parents: string[] }> {
  const order: string[] = [];
  const seen = new Set<string>();
  const stack: { name: string; next: number }[] = [{ name: top, next: 0 }];
  seen.add(top);
  while (stack.length > 0) {
    const frame = stack.at(-1)!;
    const targets = layout.cells.get(frame.name)?.references.targets ?? [];
    const target = targets[frame.next++];
    if (target === undefined) {
      order.push(frame.name);
      stack.pop();
    } else if (!seen.has(target)) {
      seen.add(target);
      stack.push({ name: target, next: 0 });
    }
  }
  const found = new Map(order.reverse().map((name) => [name, { count: 0, parents: [] as string[] }]));
  found.get(top)!.count = 1;
  for (const [name, { count }] of found) {
    const references = layout.cells.get(name)!.references;
    for (let n = 0; n < references.count; n++) {
      const child = found.get(references.targets[references.target[n]!]!)!;
      child.count += count * references.columns[n]! * references.rows[n]!;
      if (!child.parents.includes(name)) child.parents.push(name);
    }
  }
  return found;
}
