/** The stack as a ladder: every height of the process table where a layer begins or ends, lowest first. */
import type { ProcessLayer } from '../../../../shared/artefacts/process.ts';

export interface Ladder {
  /** Nominal heights, micrometres, rising. */
  readonly nominalUm: readonly number[];
  /** For each layer of the table, the numbers of the levels where it begins and ends. */
  readonly bottom: readonly number[];
  readonly top: readonly number[];
}

/** Heights closer than this are one level: the rounding of a table. */
const SAME_UM = 5e-4;

export function ladderOf(layers: readonly ProcessLayer[]): Ladder {
  const marks = layers.flatMap((layer) => [layer.bottom_um, layer.bottom_um + layer.thickness_um]);
  const nominalUm: number[] = [];
  for (const mark of [...marks].sort((a, b) => a - b)) {
    if (nominalUm.length === 0 || mark - nominalUm.at(-1)! > SAME_UM) nominalUm.push(mark);
  }
  const level = (mark: number): number => {
    let best = 0;
    for (let n = 1; n < nominalUm.length; n++)
      if (Math.abs(nominalUm[n]! - mark) < Math.abs(nominalUm[best]! - mark)) best = n;
    return best;
  };
  return {
    nominalUm,
    bottom: layers.map((layer) => level(layer.bottom_um)),
    top: layers.map((layer) => level(layer.bottom_um + layer.thickness_um)),
  };
}

/** Layers that fill the stretch between a level and the next. */
export const layersWithin = (ladder: Ladder, stretch: number): number[] =>
  ladder.bottom.flatMap((bottom, layer) =>
    bottom <= stretch && ladder.top[layer]! > stretch ? [layer] : [],
  );
