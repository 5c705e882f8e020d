/** The index of names: every label of a net and every cell, with a place to go to. */
import type { NetNames } from '../../../shared/artefacts/net-lookup.ts';
import { type Box, intersectBox, isEmptyBox } from '../../../shared/polygon.ts';
import { trapezoidsOf } from '../../kernels/trapezoids.ts';
import { isRectangle, layerOf, ringOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { shownShapes } from './net-shards.ts';
import type { PlacedCells } from './net-tiles.ts';

const MOST_BOXES = 100;

export function namesOf(
  drawn: DrawnNets,
  placed: PlacedCells,
  shardsOf: (net: number) => [number, number],
): NetNames {
  const nets: NetNames['nets'] = [];
  drawn.nets.forEach((net, number) => {
    if (net.from === 'place' || shardsOf(number)[1] === 0) return;
    const { layer, at } = pointOn(drawn, number);
    for (const name of net.from === 'label' ? net.names : [net.name]) {
      nets.push({ name, id: net.id, shards: shardsOf(number), layer, at });
    }
  });
  nets.sort((a, b) => compare(a.name, b.name) || Number(a.id.slice(1)) - Number(b.id.slice(1)));
  const cells = new Map<string, [number, number, number, number][]>();
  for (const { cell, box } of placed.cells) {
    const boxes = cells.get(cell) ?? [];
    boxes.push([...box] as [number, number, number, number]);
    cells.set(cell, boxes);
  }
  return {
    version: 1,
    nets,
    cells: [...cells]
      .sort((a, b) => compare(a[0], b[0]))
      .map(([name, boxes]) => ({
        name,
        instances: boxes.length,
        boxes: boxes.sort((a, b) => a[1] - b[1] || a[0] - b[0]).slice(0, MOST_BOXES),
      })),
  };
}

const compare = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);

/** A point on the net inside the window: where a label lies, else in the middle of its largest piece there. */
function pointOn(drawn: DrawnNets, net: number): { layer: number; at: [number, number] } {
  const { store } = drawn;
  const window = drawn.windowUm.map((v) => v / store.unitUm) as unknown as Box;
  const label = drawn.labels.find(
    (l) =>
      l.net === net &&
      l.at[0] >= window[0] &&
      l.at[0] <= window[2] &&
      l.at[1] >= window[1] &&
      l.at[1] <= window[3],
  );
  if (label) return { layer: label.layer, at: [...label.at] };
  let best: { layer: number; at: [number, number] } | null = null;
  let largest = -1;
  for (const shape of shownShapes(drawn, drawn.nets[net]!.shapes)) {
    const part = intersectBox(shapeBox(store, shape), window);
    const area = isEmptyBox(part) ? -1 : (part[2] - part[0]) * (part[3] - part[1]);
    if (best && area <= largest) continue;
    largest = area;
    best = { layer: layerOf(store, shape), at: middleOf(drawn, shape, part) };
  }
  return best!;
}

function middleOf(drawn: DrawnNets, shape: number, part: Box): [number, number] {
  const { store } = drawn;
  const middle = ([x0, y0, x1, y1]: Box): [number, number] => [
    Math.round((x0 + x1) / 2),
    Math.round((y0 + y1) / 2),
  ];
  if (isRectangle(store, shape) && !isEmptyBox(part)) return middle(part);
  let best: Box = shapeBox(store, shape);
  let largest = -1;
  for (const t of trapezoidsOf(ringOf(store, shape))) {
    const box = intersectBox([Math.max(t.left0, t.left1), t.y0, Math.min(t.right0, t.right1), t.y1], part);
    const area = isEmptyBox(box) ? -1 : (box[2] - box[0]) * (box[3] - box[1]);
    if (area <= largest) continue;
    largest = area;
    best = box;
  }
  return middle(best);
}
