/** Does the drawing connect what the netlist says, and nothing else? */
import type { StackLayer } from '../process-stack.ts';
import type { Chip } from './chip.ts';
import { type Connectivity, findConductors, ringHolds } from './connectivity.ts';
import { TRACK } from './drawn-layers.ts';
import { flatten } from './flatten.ts';

export interface DrawingFault {
  readonly kind: 'open' | 'short' | 'off-pin' | 'space';
  readonly nets: readonly string[];
}

const EPSILON_UM = 1e-4;

function conductorsAt(found: Connectivity, layer: string, x: number, y: number): Set<number> {
  const ids = new Set<number>();
  const box = [x - EPSILON_UM, y - EPSILON_UM, x + EPSILON_UM, y + EPSILON_UM] as const;
  for (const i of found.near(layer, box)) {
    const shape = found.shapes[i];
    if (shape && ringHolds(shape.ring, x, y)) ids.add(found.conductor[i] as number);
  }
  return ids;
}

/** Pairs of shapes of different conductors on one layer that lie closer than the rule, by their boxes. */
function closePairs(found: Connectivity, stack: readonly StackLayer[]): DrawingFault[] {
  const faults: DrawingFault[] = [];
  const rule = new Map(stack.map((l) => [l.name, l.spaceUm]));
  found.shapes.forEach((shape, i) => {
    const space = rule.get(shape.layer);
    if (space === undefined) return;
    const reach = space - EPSILON_UM;
    const [x0, y0, x1, y1] = shape.box;
    for (const j of found.near(shape.layer, [x0 - reach, y0 - reach, x1 + reach, y1 + reach])) {
      const other = found.shapes[j];
      if (!other || j <= i || found.conductor[i] === found.conductor[j]) continue;
      const gapX = Math.max(x0 - other.box[2], other.box[0] - x1, 0);
      const gapY = Math.max(y0 - other.box[3], other.box[1] - y1, 0);
      if (Math.hypot(gapX, gapY) < reach)
        faults.push({ kind: 'space', nets: [shape.layer, `${x0.toFixed(3)},${y0.toFixed(3)}`] });
    }
  });
  return faults;
}

/** Every difference between the netlist and the drawn conductors; an empty list is a clean drawing. */
export function checkDrawing(chip: Chip, stack: readonly StackLayer[]): DrawingFault[] {
  const found = findConductors(flatten(chip.library, chip.top, 'drawing'), stack);
  const faults = closePairs(found, stack);
  const owner = new Map<number, string>();
  const claim = (id: number, net: string): void => {
    const other = owner.get(id);
    if (other === undefined) owner.set(id, net);
    else if (other !== net) faults.push({ kind: 'short', nets: [other, net] });
  };
  for (const net of chip.nets) {
    const ids = new Set<number>();
    for (const terminal of net.terminals) {
      const here = new Set<number>();
      for (const [x, y] of terminal.points) {
        const at = conductorsAt(found, terminal.level, (x * TRACK) / 1000, (y * TRACK) / 1000);
        if (terminal.level === 'metal1' && at.size !== 1) faults.push({ kind: 'off-pin', nets: [net.name] });
        for (const id of at) here.add(id);
      }
      for (const id of here) ids.add(id);
    }
    if (ids.size !== 1) faults.push({ kind: 'open', nets: [net.name] });
    for (const id of ids) claim(id, net.name);
  }
  const supplies = new Map<string, Set<number>>();
  for (const [id, names] of found.names) {
    if (names.length > 1) faults.push({ kind: 'short', nets: names });
    for (const name of names) {
      const ids = supplies.get(name) ?? new Set<number>();
      ids.add(id);
      supplies.set(name, ids);
      claim(id, name);
    }
  }
  for (const [name, ids] of supplies) if (ids.size > 1) faults.push({ kind: 'open', nets: [name] });
  return faults;
}
