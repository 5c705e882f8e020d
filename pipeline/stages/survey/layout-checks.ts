/** Does the process table fit the layout? The usual mistake is a wrong layer number. */

import { nearest } from '../../../shared/artefacts/known-keys.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { DrawnLayer } from '../../formats/layout.ts';

export interface LayoutFit {
  /** Drawn layers of the layout that no process layer uses, with their flat shape counts. */
  readonly unused: readonly { readonly drawn: DrawnLayer; readonly shapes: number }[];
  /** Process layers above all that is drawn: the block simply does not use them. */
  readonly notDrawn: readonly string[];
}

/**
 * A process layer may be absent from the drawing at the top of the stack, where a block that needs fewer metals ends.
 * Below something that is drawn, an absent layer is a wrong number: a wire cannot hang on a via that is not there.
 * @param shapes flat shape counts of the layout by drawn layer
 * @throws InputFault for a drawn layer that the layout lacks below one that it has
 */
export function fitLayout(
  process: Process,
  processFile: string,
  layoutFile: string,
  shapes: ReadonlyMap<DrawnLayer, number>,
): LayoutFit {
  const count = (drawn: string) => shapes.get(drawn as DrawnLayer) ?? 0;
  const drawnLayers = process.layers.filter((layer) => layer.drawn.length > 0);
  const highest = drawnLayers.findLastIndex((layer) => layer.drawn.some((d) => count(d) > 0));
  const lacking = drawnLayers
    .slice(0, Math.max(0, highest))
    .find((layer) => !layer.drawn.some((d) => count(d) > 0));
  if (highest < 0 || lacking) {
    const layer = lacking ?? drawnLayers[0];
    const missing = layer?.drawn[0] ?? '';
    const used = new Set(drawnLayers.flatMap((l) => l.drawn));
    const free = [...shapes.keys()].filter((d) => count(d) > 0 && !used.has(d));
    const near = nearest(missing, free);
    throw new InputFault({
      tag: 'inconsistent',
      file: processFile,
      place: `layer "${layer?.name}", drawn`,
      expected: `a drawn layer that ${layoutFile} has${near ? `, such as "${near}"` : ''}`,
      found: `"${missing}", which holds no shape there`,
      remedy:
        'Correct the numbers, or write drawn: [] for a layer that is not in the drawing. `stratafolio check` lists what the layout holds.',
    });
  }
  const known = new Set<string>();
  for (const layer of process.layers) {
    for (const drawn of [...layer.drawn, ...(layer.labels ?? []), ...(layer.fill ?? [])]) known.add(drawn);
  }
  return {
    unused: [...shapes]
      .filter(([drawn, n]) => n > 0 && !known.has(drawn))
      .map(([drawn, n]) => ({ drawn, shapes: n }))
      .sort((a, b) => b.shapes - a.shapes),
    notDrawn: drawnLayers.slice(highest + 1).map((layer) => layer.name),
  };
}
