/** Findings, fill and bias in the words and units of the artefact. */

import type { Findings } from '../../../shared/artefacts/findings.ts';
import { type Box, growBox, unionBox } from '../../../shared/polygon.ts';
import { median } from '../../kernels/statistics.ts';
import { boxUm, type Canvas, clip } from './canvas.ts';
import type { Classified } from './classify.ts';
import type { PreparedLayer } from './compare-layers.ts';
import type { LayerFit } from './fit-layers.ts';
import { BANK_PX, kernelAt } from './kernel-bank.ts';
import { noteOf } from './notes.ts';
import type { ZoneAlarms } from './zones.ts';

/** Names of the drawn nets that have metal of a layer in a box of the die frame. */
export type NetsAt = (layer: string, boxUm: Box) => string[];

type Finding = Findings['findings'][number];

/**
 * `probability`: that there is a fault of this kind. Weighs one true fault expected in the field against the number of
 * false differences as strong as this one that the decoys let expect.
 */
export function findingOf(
  found: Classified,
  layer: string,
  zone: ZoneAlarms,
  canvas: Canvas,
  netsAt?: NetsAt,
): Finding {
  const { grid } = canvas;
  const { alarms } = zone;
  const thresholdZ = Math.min(zone.thresholdZ, found.z);
  const box = boxUm(grid, found.box);
  const nets = netsAt?.(layer, growBox(box, grid.pixel_um)) ?? [];
  // Conductors of one net that touch are no bridge.
  const kind = found.kind === 'bridge' && nets.length === 1 ? 'extra-shape' : found.kind;
  const real = 1 / (1 + Math.max(alarms.expected(found.z), nearThreshold(found.z / thresholdZ)));
  const probability = Number(Math.min(real * found.kindOdds, 0.999).toFixed(3));
  const centreUm: [number, number] = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  return {
    id: 'F0000',
    kind,
    layer,
    centre_um: [round(centreUm[0]), round(centreUm[1])],
    box_um: box.map(round) as [number, number, number, number],
    area_um2: Number((found.areaPx * grid.pixel_um ** 2).toPrecision(3)),
    probability,
    nets,
    note: noteOf({
      found: { ...found, kind },
      layer,
      centreUm,
      sizeUm: [box[2] - box[0], box[3] - box[1]],
      probability,
      thresholdZ,
      nets,
    }),
  };
}

/**
 * Tails of misfit are heavier than the decoys of one scan show: at the threshold a difference is false one time in three.
 * How fast that falls is told by the decoys of ten simulated scans (62 layers) together: about 20 stood at 0.75 times the
 * threshold of their layer or higher, 4 at 0.9, 1 at 1, so that one in e is left for every 0.1 of the threshold. Their
 * number at the threshold, 1 in 62 layers, is raised to 0.5 for what decoys do not show. `npm run bench:findings` prints
 * how often findings of each stated probability are right.
 */
const nearThreshold = (ratio: number): number => 0.5 * Math.exp(-10 * (ratio - 1));

const round = (um: number): number => Math.round(um * 1e4) / 1e4;

/** Fill that was found, and fill that was drawn. */
export function fillOf(layer: PreparedLayer, canvas: Canvas, judged: Uint8Array): Findings['fill'] {
  const { grid } = canvas;
  const p = grid.pixel_um;
  const found = layer.fill.map((group) => ({
    layer: layer.name,
    count: group.members.length,
    size_um: group.sizePx.map((v) => round(v * p)) as [number, number],
    pitch_um: group.pitchPx.map((v) => round(v * p)) as [number, number],
    box_um: mutable(group.members.map((d) => boxUm(grid, d)).reduce(unionBox)),
  }));
  const drawn = layer.shapes.fill.filter(({ boxUm: b }) => insideField(b, canvas, judged));
  if (drawn.length === 0) return found;
  const sides = [0, 1].map((axis) => median(drawn.map(({ boxUm: b }) => b[axis + 2]! - b[axis]!)));
  return [
    ...found,
    {
      layer: layer.name,
      count: drawn.length,
      size_um: sides.map(round) as [number, number],
      pitch_um: pitchOf(
        drawn.map((s) => s.boxUm),
        sides as [number, number],
      ),
      box_um: mutable(drawn.map((s) => s.boxUm).reduce(unionBox)),
    },
  ];
}

const mutable = (box: Box): [number, number, number, number] => [
  round(box[0]),
  round(box[1]),
  round(box[2]),
  round(box[3]),
];

function insideField(box: Box, canvas: Canvas, judged: Uint8Array): boolean {
  const { grid, width } = canvas;
  const x = Math.round(((box[0] + box[2]) / 2 - grid.origin_um[0]) / grid.pixel_um);
  const y = Math.round((grid.origin_um[1] - (box[1] + box[3]) / 2) / grid.pixel_um);
  const at = clip({ x0: x, y0: y, x1: x, y1: y }, { width: width - 1, height: canvas.height - 1 });
  return judged[at.y0 * width + at.x0] === 1;
}

/** Usual distance to the next shape of the same row and of the same column; the size where there is none. */
function pitchOf(boxes: readonly Box[], sides: readonly [number, number]): [number, number] {
  return [0, 1].map((axis) => {
    const across = 1 - axis;
    const sorted = [...boxes].sort((a, b) => a[across]! - b[across]! || a[axis]! - b[axis]!);
    const steps: number[] = [];
    for (let n = 1; n < sorted.length; n++) {
      const [a, b] = [sorted[n - 1]!, sorted[n]!];
      if (Math.abs(a[across]! - b[across]!) < 0.1 * sides[across]!) steps.push(b[axis]! - a[axis]!);
    }
    return round(steps.length > 0 ? median(steps) : sides[axis]!);
  }) as [number, number];
}

export function biasEntry(layer: PreparedLayer, pixelUm: number): Findings['bias'][number] {
  const fit = layer.fit!;
  const [w, x, y] = fit.uncertaintyPx.map((v) => Number((v * CORRELATED * pixelUm).toPrecision(2)));
  const kernel = ownKernel(layer);
  return {
    layer: layer.name,
    widening_um: round(layer.bias.wideningUm),
    widening_sd_um: w!,
    shift_um: [round(layer.bias.shiftUm[0]), round(layer.bias.shiftUm[1])],
    shift_sd_um: [x!, y!],
    blur_um: round(blurPx(kernel) * pixelUm),
    bright: kernelAt(kernel, 0) > 0,
    correlation: Number(fit.correlation.toFixed(3)),
  };
}

/** Residuals of neighbouring pixels go together; the fit took them as independent. */
const CORRELATED = 3;

function ownKernel(layer: PreparedLayer): Float64Array {
  const fit: LayerFit = layer.fit!;
  return fit.kernels.get(layer.number)!;
}

/** Standard deviation of a Gaussian that falls to half where the kernel does. */
function blurPx(kernel: Float64Array): number {
  const top = kernelAt(kernel, 0);
  const most = BANK_PX.at(-1)!;
  for (let r = 0.05; r < most; r += 0.05)
    if (kernelAt(kernel, r) / top < 0.5) return r / Math.sqrt(2 * Math.LN2);
  return most;
}
