/** From the drawing to the chip as it was made: heights, biases, offsets, fill and faults. */
import { chooseFaults, type Fault, type FaultKind, leastWidth } from './faults.ts';
import { boxRing, type Field } from './field.ts';
import { type PlacedFill, placeFill } from './fill.ts';
import type { MadeLayer } from './image/volume-plan.ts';
import { type Connectivity, findConductors } from './layout/connectivity.ts';
import { type Box, type FlatLayout, ringBox } from './layout/flatten.ts';
import { electronDensity, OXIDE } from './materials.ts';
import type { StackLayer } from './process-stack.ts';
import { type Random, randomStream } from './random.ts';

export interface FabOptions {
  readonly seed: number;
  readonly fill: boolean;
  readonly faults: readonly FaultKind[];
  /** Where fill may lie. */
  readonly region: Box;
  /** Standard deviation of a thickness as a share of it; null: evenly within 8 %. */
  readonly thicknessSd: number | null;
}

export interface MadeChip {
  readonly layers: readonly MadeLayer[];
  readonly faults: readonly Fault[];
  readonly fill: readonly PlacedFill[];
  readonly drawn: Connectivity;
}

/** Thicknesses deviate by up to this share. */
const THICKNESS_SHARE = 0.08;

/**
 * As-made heights. Every stretch between two neighbouring heights of the stack is as much too thick or too thin as
 * its own film; what lies above moves along.
 */
export function madeHeights(
  stack: readonly Pick<StackLayer, 'bottomUm' | 'thicknessUm'>[],
  random: Random,
  thicknessSd: number | null = null,
): (z: number) => number {
  const marks = [...new Set(stack.flatMap((l) => [l.bottomUm, l.bottomUm + l.thicknessUm]))].map(
    (z) => Math.round(z * 1e6) / 1e6,
  );
  const levels = [...new Set([0, ...marks])].sort((a, b) => a - b);
  const zero = levels.indexOf(0);
  const share = (): number =>
    thicknessSd === null
      ? 1 + random.between(-THICKNESS_SHARE, THICKNESS_SHARE)
      : 1 + thicknessSd * Math.max(-2, Math.min(2, random.normal()));
  const heights = new Map<number, number>([[0, 0]]);
  let up = 0;
  for (let i = zero + 1; i < levels.length; i++) {
    up += ((levels[i] as number) - (levels[i - 1] as number)) * share();
    heights.set(levels[i] as number, up);
  }
  let down = 0;
  for (let i = zero - 1; i >= 0; i--) {
    down -= ((levels[i + 1] as number) - (levels[i] as number)) * share();
    heights.set(levels[i] as number, down);
  }
  return (z) => heights.get(Math.round(z * 1e6) / 1e6) ?? z;
}

function fillRules(stack: readonly StackLayer[], flat: FlatLayout, drawn: Connectivity) {
  const metals = stack.filter((l) => l.role === 'conductor' && l.material !== 'polysilicon');
  // The top metal is left without fill, and so is a layer whose fill is in the drawing already.
  return metals.slice(0, -1).flatMap((layer) => {
    if (layer.fill.some((pair) => (flat.rings.get(pair)?.length ?? 0) > 0)) return [];
    const width = leastWidth(drawn, layer);
    const size = Math.round(width * 2.5 * 20) / 20;
    return [{ layer: layer.name, sizeUm: size, pitchUm: 2 * size, keepAwayUm: 1.5 * width }];
  });
}

/** Makes the chip of a seed. Nothing here looks at an image: the truth is fixed by what this returns. */
export function fabricate(
  flat: FlatLayout,
  stack: readonly StackLayer[],
  field: Field,
  options: FabOptions,
): MadeChip {
  const drawn = findConductors(flat, stack);
  const random = randomStream(options.seed, 'faults');
  const drawnFill = new Map(
    stack.map((l) => [l.name, l.fill.flatMap((pair) => (flat.rings.get(pair) ?? []).map(ringBox))]),
  );
  const faults = chooseFaults({ drawn, fill: drawnFill, stack, field, random }, options.faults);
  const fill = options.fill
    ? fillRules(stack, flat, drawn).map((rule) => {
        const avoid = faults.filter((f) => f.layer === rule.layer).map((f) => f.box);
        return placeFill(rule, drawn, options.region, avoid);
      })
    : [];
  const heightOf = madeHeights(stack, randomStream(options.seed, 'thickness'), options.thicknessSd);
  const lithography = randomStream(options.seed, 'lithography');
  const layers = stack.map((layer): MadeLayer => {
    const width = leastWidth(drawn, layer);
    const limit = Math.min(0.014, 0.06 * width);
    const bias = layer.role === 'via' ? lithography.between(-0.5, 0.5) : lithography.between(0.2, 1);
    const offset = (): number => lithography.between(-1, 1) * Math.min(0.018, 0.08 * width);
    const own = faults.filter((f) => f.layer === layer.name);
    const pairs = [...layer.drawn, ...layer.fill];
    const squares = fill.find((f) => f.layer === layer.name)?.squares ?? [];
    return {
      name: layer.name,
      bottomUm: heightOf(layer.bottomUm),
      topUm: heightOf(layer.bottomUm + layer.thicknessUm),
      contrast: (electronDensity(layer.material) as number) - OXIDE,
      shapes: {
        rings: [...pairs.flatMap((pair) => flat.rings.get(pair) ?? []), ...squares.map(boxRing)],
        cuts: own.flatMap((f) => f.cuts),
        extras: own.flatMap((f) => f.extras),
        biasUm: bias * limit,
        offsetUm: [offset(), offset()],
        roundingUm: Math.min(0.03, 0.15 * width),
      },
    };
  });
  return { layers, faults, fill, drawn };
}
