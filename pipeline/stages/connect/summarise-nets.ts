/** What nets.json says of each net. */
import type { NetSummary } from '../../../shared/artefacts/nets.ts';
import { type Box, EMPTY_BOX, intersectBox, isEmptyBox, unionBox } from '../../../shared/polygon.ts';
import { centreLineLength, clipRing } from '../../kernels/ring-clip.ts';
import { isRectangle, layerOf, ringOf, shapeBox } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { shownShapes } from './net-shards.ts';

/**
 * @param leaving 1 for each shape that reaches out of the field
 * @param seen names of the layers that the scan reaches
 * @param shardsOf first shard with the shapes of a net, and how many
 */
export function summariseNets(
  drawn: DrawnNets,
  leaving: Uint8Array,
  seen: ReadonlySet<string>,
  shardsOf: (net: number) => [number, number],
): Omit<NetSummary, 'imaged'>[] {
  const { store } = drawn;
  const windowDbu = drawn.windowUm.map((v) => v / store.unitUm) as unknown as Box;
  return drawn.nets.map((net, number) => {
    const shapes = shownShapes(drawn, net.shapes);
    let box = EMPTY_BOX;
    let length = 0;
    let vias = 0;
    let leaves = false;
    const layers = new Set<number>();
    for (const shape of shapes) {
      const layer = layerOf(store, shape);
      layers.add(layer);
      box = unionBox(box, shapeBox(store, shape));
      leaves ||= leaving[shape] === 1;
      if (store.layers[layer]!.role === 'via') vias++;
      else length += lengthInside(drawn, shape, windowDbu);
    }
    const names = [...layers].sort((a, b) => a - b).map((layer) => store.layers[layer]!.name);
    return {
      id: net.id,
      name: net.name,
      names: [...net.names],
      name_from: net.from,
      layers: names,
      box_um: box.map((v) => rounded(v * store.unitUm)) as [number, number, number, number],
      length_um: rounded(length * store.unitUm),
      vias,
      shapes: shapes.length,
      leaves_field: leaves,
      unseen_layers: names.filter((name) => !seen.has(name)),
      shards: shardsOf(number),
    };
  });
}

/** To a picometre, so that files do not carry the last digits of a division. */
const rounded = (um: number): number => Math.round(um * 1e6) / 1e6;

/** Centre-line length of one shape inside the window, 0 for a shape that lies wholly on another one of its layer. */
function lengthInside(drawn: DrawnNets, shape: number, windowDbu: Box): number {
  const { store, contacts } = drawn;
  const box = shapeBox(store, shape);
  for (let at = contacts.starts[shape]!; at < contacts.starts[shape + 1]!; at++) {
    const other = contacts.neighbours[at]!;
    if (!isRectangle(store, other) || layerOf(store, other) !== layerOf(store, shape)) continue;
    const around = shapeBox(store, other);
    const within = around[0] <= box[0] && around[1] <= box[1] && around[2] >= box[2] && around[3] >= box[3];
    const equal = within && around.every((v, k) => v === box[k]);
    if (within && (!equal || other < shape)) return 0;
  }
  if (isRectangle(store, shape)) {
    const part = intersectBox(box, windowDbu);
    return isEmptyBox(part) ? 0 : Math.abs(part[2] - part[0] - (part[3] - part[1]));
  }
  const whole =
    windowDbu[0] <= box[0] && windowDbu[1] <= box[1] && windowDbu[2] >= box[2] && windowDbu[3] >= box[3];
  return centreLineLength(whole ? ringOf(store, shape) : clipRing(ringOf(store, shape), windowDbu));
}
