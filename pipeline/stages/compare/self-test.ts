/** Plants phantom edits into the drawing and counts how many come back as differences. */
import type { Selftest } from '../../../shared/artefacts/selftest.ts';
import { clopperPearson, poissonInterval } from '../../kernels/rate-intervals.ts';
import type { Field } from './box-fit.ts';
import { clip, grow, meet, type PixelBox } from './canvas.ts';
import type { LayerContext } from './classify.ts';
import { COUPLING_REACH } from './evidence.ts';
import { findDifferences } from './find-differences.ts';
import { kindsFor, type PhantomEdit, plantEdit, SIZES_PX } from './phantom-edits.ts';
import { sizesFound } from './size-found.ts';
import { leastThreshold, type Zones, zoneAt } from './zones.ts';

export interface TestedLayer {
  readonly name: string;
  readonly context: LayerContext;
  readonly zones: Zones;
  /** 1 where edits may be planted: judged, and away from fill and findings. */
  readonly free: Uint8Array;
  /** Usual side of the layer's shapes, pixels. */
  readonly sidePx: number;
  /** What coverage usually weighs where metal is drawn: a model with metal is trusted less than one without. */
  readonly metalTrust: number;
}

const EDITS_PER_CELL = 10;
/** Only this far around an edit is compared again: differences are looked for near it, their surroundings count. */
const LOOK_PX = 6;
const AROUND_PX = COUPLING_REACH + LOOK_PX + 2;

/** False differences expected of the thresholds, per 1000 um2 of the field, and how many were seen. */
export interface FalseCount {
  readonly seen: number;
  readonly areaUm2: number;
}

export function selfTest(
  layers: readonly TestedLayer[],
  pixelUm: number,
  falseCount: FalseCount,
  random: () => number,
): Selftest {
  const trials: Selftest['trials'] = [];
  const sizes: Selftest['size_found_um'] = {};
  let [right, spurious] = [0, 0];
  for (const layer of layers) {
    const own: Selftest['trials'] = [];
    for (const kind of kindsFor(layer.context.role)) {
      const list =
        kind === 'extra-via'
          ? [layer.sidePx]
          : kind === 'missing-via'
            ? viaSizes(layer.sidePx)
            : kind === 'narrow' || kind === 'wide' || kind === 'shifted'
              ? [1, 2, 3, 5]
              : SIZES_PX;
      for (const size of list) {
        let [planted, found] = [0, 0];
        for (let n = 0; n < EDITS_PER_CELL; n++) {
          const edit = plantEdit(kind, size, layer.context, layer.free, layer.sidePx, random);
          if (!edit) break;
          planted++;
          const outcome = compareAgain(layer, edit);
          if (outcome.found) found++;
          spurious += outcome.spurious;
        }
        if (planted === 0) continue;
        right += found;
        const { low, high } = clopperPearson(found, planted);
        own.push({ kind, layer: layer.name, size_um: round(size * pixelUm), planted, found, low, high });
      }
    }
    trials.push(...own);
    // How far an edge or a via moved is no size of a shape.
    const found = sizesFound(own.filter((t) => !MOVES.has(t.kind)));
    if (found) sizes[layer.name] = found;
  }
  const per = 1000 / Math.max(falseCount.areaUm2, 1e-9);
  const interval = poissonInterval(falseCount.seen);
  return {
    version: 1,
    trials,
    precision: right + spurious > 0 ? right / (right + spurious) : 1,
    false_per_1000um2: { value: falseCount.seen * per, low: interval.low * per, high: interval.high * per },
    size_found_um: sizes,
  };
}

const MOVES: ReadonlySet<string> = new Set(['narrow', 'wide', 'shifted']);

/** Vias as large as the layer's, and smaller ones. */
const viaSizes = (sidePx: number): number[] => [...SIZES_PX.filter((s) => s > 1 && s < sidePx), sidePx];

const round = (v: number): number => Number(v.toPrecision(4));

/** The neighbourhood of an edit as a field of its own, with the edit's effect on the evidence. */
export function editedField(
  field: Field,
  edit: PhantomEdit,
  metalTrust = Infinity,
): { field: Field; box: PixelBox } {
  const box = clip(grow(edit.place, AROUND_PX), field);
  const [width, height] = [box.x1 - box.x0, box.y1 - box.y0];
  const cut = <T extends Float32Array | Uint8Array>(values: T): T => {
    const out = values.slice(0, width * height) as T;
    for (let y = 0; y < height; y++) {
      const from = (y + box.y0) * field.width + box.x0;
      out.set(values.subarray(from, from + width), y * width);
    }
    return out;
  };
  const own: Field = {
    width,
    height,
    gain: cut(field.gain),
    coupling: field.coupling,
    trust: cut(field.trust),
    drawn: cut(field.drawn),
    known: cut(field.known),
    judged: cut(field.judged),
    ...(field.rim ? { rim: cut(field.rim) } : {}),
  };
  for (const { box: part, by } of edit.boxes) {
    if (by === 1) distrust(own, box, grow(part, 1), metalTrust);
    for (let y = Math.max(part.y0, box.y0); y < Math.min(part.y1, box.y1); y++)
      for (let x = Math.max(part.x0, box.x0); x < Math.min(part.x1, box.x1); x++)
        setPixel(own, x - box.x0, y - box.y0, by);
  }
  return { field: own, box };
}

function distrust({ width, trust }: Field, box: PixelBox, part: PixelBox, most: number): void {
  for (let y = Math.max(part.y0, box.y0); y < Math.min(part.y1, box.y1); y++)
    for (let x = Math.max(part.x0, box.x0); x < Math.min(part.x1, box.x1); x++) {
      const n = (y - box.y0) * width + x - box.x0;
      trust[n] = Math.min(trust[n]!, most);
    }
}

/** Covers or uncovers a pixel of the drawing; the model follows, and the residual with it. */
function setPixel(field: Field, x: number, y: number, by: 1 | -1): void {
  const { width, height, drawn, known, gain, trust, coupling } = field;
  const n = y * width + x;
  const before = known[n]!;
  const after = by === 1 ? 1 : 0;
  drawn[n] = after;
  known[n] = after;
  const change = after - before;
  if (change === 0) return;
  const moved = change * trust[n]!;
  const reach = COUPLING_REACH;
  const side = 2 * reach + 1;
  for (let dy = Math.max(-reach, -y); dy <= Math.min(reach, height - 1 - y); dy++)
    for (let dx = Math.max(-reach, -x); dx <= Math.min(reach, width - 1 - x); dx++) {
      const to = n + dy * width + dx;
      gain[to]! -= moved * coupling[(dy + reach) * side + dx + reach]!;
    }
}

function compareAgain(layer: TestedLayer, edit: PhantomEdit): { found: boolean; spurious: number } {
  const { field, box } = editedField(layer.context.field, edit, layer.metalTrust);
  const within = {
    ...{ x0: edit.place.x0 - box.x0, y0: edit.place.y0 - box.y0 },
    ...{ x1: edit.place.x1 - box.x0, y1: edit.place.y1 - box.y0 },
  };
  const search = {
    leastZ: leastThreshold(layer.zones),
    what: 'faults',
    within: grow(within, LOOK_PX),
  } as const;
  const differences = findDifferences(field, search).filter(
    (d) => d.z >= zoneAt(layer.zones, field, d).thresholdZ,
  );
  const place: PixelBox = {
    x0: edit.place.x0 - box.x0 - 1,
    y0: edit.place.y0 - box.y0 - 1,
    x1: edit.place.x1 - box.x0 + 1,
    y1: edit.place.y1 - box.y0 + 1,
  };
  const at = differences.filter((d) => meet(d, place));
  const found = at.some((d) => d.ground === edit.ground || edit.kind === 'shifted');
  return { found, spurious: differences.length - at.length };
}
