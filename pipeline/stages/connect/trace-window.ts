/** Nets of a window with the names that they have on the whole chip. */
import type { Process } from '../../../shared/artefacts/process.ts';
import { type Box, unionBox } from '../../../shared/polygon.ts';
import { boundsUm, countShapes } from '../../formats/layout/flatten.ts';
import type { Layout } from '../../formats/layout.ts';
import { layerOf, netLayers, ringOf, shapeBox, shapesMeeting } from './collect-shapes.ts';
import { connectDrawing, type DrawnNets } from './connect-drawing.ts';
import type { Withheld } from './withheld.ts';

export interface TracedWindow {
  readonly drawn: DrawnNets;
  /** Nets of the whole layout; null where it is too large to follow. */
  readonly whole: DrawnNets | null;
}

/** Up to this many shapes the whole layout is followed. */
const MOST_FOLLOWED = 400_000;

/**
 * A window cuts nets off from their labels and from each other. Where the layout is small enough, it is followed as a
 * whole, so that a piece of a net bears the name of the net, and so that it is known which pieces are joined outside.
 *
 * @throws RangeError when the layout has no cell `top`
 */
export function traceWindow(
  layout: Layout,
  top: string,
  process: Process,
  windowUm: Box,
  withheld: Withheld = {},
): TracedWindow {
  const drawn = connectDrawing(layout, top, process, windowUm, withheld);
  const bounds = boundsUm(layout, top);
  if (!bounds || countUsed(layout, top, process, withheld) > MOST_FOLLOWED) return { drawn, whole: null };
  const inside = unionBox(bounds, windowUm).every((v, k) => v === windowUm[k]);
  const whole = inside ? drawn : connectDrawing(layout, top, process, bounds, withheld);
  return { drawn: inside ? drawn : renamed(drawn, whole), whole };
}

function countUsed(layout: Layout, top: string, process: Process, withheld: Withheld): number {
  const used = new Set(netLayers(process, withheld).flatMap((layer) => layer.drawn));
  let shapes = 0;
  for (const [drawn, count] of countShapes(layout, top)) if (used.has(drawn)) shapes += count.flat;
  return shapes;
}

function renamed(drawn: DrawnNets, whole: DrawnNets): DrawnNets {
  const nets = drawn.nets.map((net) => {
    const same = whole.nets[netThere(drawn, net.shapes[0]!, whole)];
    return same ? { ...net, name: same.name, names: same.names, from: same.from } : net;
  });
  const netsAt: DrawnNets['netsAt'] = (layer, boxUm) => [
    ...new Set(drawn.numbersAt(layer, boxUm).map((n) => nets[n]!.name)),
  ];
  return { ...drawn, nets, netsAt };
}

/** Number of the net in the whole layout that holds a shape of the window, -1 for none. */
function netThere(drawn: DrawnNets, shape: number, whole: DrawnNets): number {
  const box = shapeBox(drawn.store, shape);
  const ring = ringOf(drawn.store, shape);
  const found = shapesMeeting(whole.store, layerOf(drawn.store, shape), box).find(
    (n) =>
      shapeBox(whole.store, n).every((v, k) => v === box[k]) &&
      Array.from(ringOf(whole.store, n)).every((v, k) => v === ring[k]),
  );
  return found === undefined ? -1 : whole.netOf[found]!;
}
