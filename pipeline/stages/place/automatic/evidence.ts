/** What a reader can judge the placement from: the peak of the correlation, decoys, residual arrows, words. */
import type { Affine3 } from '../../../../shared/affine.ts';
import type { Evidence as EvidenceArtefact, PeakPatch } from '../../../../shared/artefacts/evidence.ts';
import { median } from '../../../kernels/statistics.ts';
import type { Agreement } from './agreement.ts';
import { type DieView, type Drawing, dieGrid, dieView, slabAt } from './die-view.ts';
import { ORIENTATIONS } from './orientation.ts';
import { middleOf } from './places.ts';
import type { Evidence } from './verdict.ts';
import type { WorkVolume } from './work-volume.ts';

/** Shifts shown around a peak, pixels to either side. */
const REACH_PX = 14;
/** Arrows longer than this many medians are outliers. */
const OUTLIER = 4;

/** Mean correlation of all layers when the drawing is shifted against the scan. */
export function peakPatch(view: DieView, sign: number, offsetUm: readonly [number, number]): PeakPatch {
  const { width, height, pixel } = view.grid.frame;
  const size = 2 * REACH_PX + 1;
  const value = new Float64Array(size * size);
  for (const { slab, picture } of view.layers) {
    let image = 0;
    let drawn = 0;
    for (let p = 0; p < slab.length; p++) {
      image += slab[p]! ** 2;
      drawn += view.weight[p]! * picture[p]! ** 2;
    }
    if (!(image * drawn > 0)) continue;
    const factor = sign / Math.sqrt(image * drawn) / view.layers.length;
    for (let v = -REACH_PX; v <= REACH_PX; v++) {
      for (let u = -REACH_PX; u <= REACH_PX; u++) {
        let sum = 0;
        for (let row = Math.max(0, -v); row < Math.min(height, height - v); row++) {
          const from = Math.max(0, -u);
          const to = Math.min(width, width - u);
          let p = row * width + from;
          let q = (row + v) * width + from + u;
          for (let column = from; column < to; column++, p++, q++) sum += slab[p]! * picture[q]!;
        }
        value[(v + REACH_PX) * size + u + REACH_PX]! += factor * sum;
      }
    }
  }
  return {
    pixel_um: pixel,
    width_px: size,
    height_px: size,
    origin_um: [offsetUm[0] - REACH_PX * pixel, offsetUm[1] + REACH_PX * pixel],
    value: Array.from(value, (v) => Number(v.toFixed(4))),
  };
}

/** Correlation of each layer with slabs as thick as itself, at every height the scan holds. */
function heightCurves(view: DieView, sign: number): EvidenceArtefact['layers'] {
  const { frame } = view.grid;
  return view.layers.map(({ layer, picture, halfUm }) => {
    const zUm: number[] = [];
    const value: number[] = [];
    for (let n = 0; n < frame.count; n++) {
      const height = frame.bottom + n * frame.step;
      const slab = slabAt(view.sums, frame, height, halfUm);
      let product = 0;
      let image = 0;
      let drawn = 0;
      for (let p = 0; p < slab.length; p++) {
        if (view.weight[p] === 0) continue;
        product += slab[p]! * picture[p]!;
        image += slab[p]! ** 2;
        drawn += picture[p]! ** 2;
      }
      if (!(image * drawn > 0)) continue;
      zUm.push(Number(height.toFixed(4)));
      value.push(Number(((sign * product) / Math.sqrt(image * drawn)).toFixed(4)));
    }
    return { layer: layer.name, z_um: zUm, value };
  });
}

const peakOf = (patch: PeakPatch) => {
  let best = 0;
  patch.value.forEach((v, n) => {
    if (v > patch.value[best]!) best = n;
  });
  return {
    dx_um: patch.origin_um[0] + (best % patch.width_px) * patch.pixel_um,
    dy_um: patch.origin_um[1] - Math.floor(best / patch.width_px) * patch.pixel_um,
    value: patch.value[best]!,
  };
};

/** Best scores of every other way to lay the scan on the drawing, on the scale of the placement's own score. */
export function decoysOf(
  orientations: readonly number[],
  own: number,
  found: number,
  score: number,
): EvidenceArtefact['decoys'] {
  const parity = (n: number): number => {
    const [a, b, c, d] = ORIENTATIONS[n % 8]!;
    return a * d - b * c;
  };
  return orientations.flatMap((value, n) => {
    if (n === own || !(value > 0)) return [];
    const upsideDown = n >= 8 !== own >= 8;
    const kind = upsideDown ? 'reversed-stack' : parity(n) === parity(own) ? 'rotated' : 'mirrored';
    return [{ kind, score: Number(((value * score) / found).toFixed(4)) } as const];
  });
}

export interface EvidenceInput {
  readonly work: WorkVolume;
  readonly workToDie: Affine3;
  readonly sign: number;
  readonly drawing: Drawing;
  readonly agreement: Agreement;
  readonly decoys: EvidenceArtefact['decoys'];
  readonly runnerUp: { readonly workToDie: Affine3; readonly sign: number; readonly score: number } | null;
  readonly words: readonly string[];
  /** Steps by which the drawing repeats under the field; none where it does not. */
  readonly latticeUm?: readonly (readonly [number, number])[];
}

export function evidenceArtefact(input: EvidenceInput): EvidenceArtefact {
  const { work, workToDie, drawing, agreement, runnerUp } = input;
  const viewOf = (map: Affine3) => dieView(work, map, dieGrid(work, map, drawing));
  const view = viewOf(workToDie);
  const patch = peakPatch(view, input.sign, [0, 0]);
  const here = middleOf(work, workToDie);
  const there = runnerUp && middleOf(work, runnerUp.workToDie);
  const away: [number, number] = there ? [there[0] - here[0], there[1] - here[1]] : [0, 0];
  const other = runnerUp && peakPatch(viewOf(runnerUp.workToDie), runnerUp.sign, away);
  const lengths = agreement.residualsUm.filter((r) => r !== null);
  const typical = median(lengths);
  return {
    version: 1,
    layers: heightCurves(view, input.sign),
    peak: {
      best: peakOf(patch),
      patch,
      runner_up: other && { at: peakOf(other), patch: other },
    },
    residuals: agreement.cells.flatMap((cell) =>
      cell.shiftUm
        ? [
            {
              x_um: cell.xUm,
              y_um: cell.yUm,
              dx_um: cell.shiftUm[0],
              dy_um: cell.shiftUm[1],
              used: Math.hypot(...cell.shiftUm) <= OUTLIER * Math.max(typical, 1e-6),
            },
          ]
        : [],
    ),
    decoys: [
      ...input.decoys,
      ...(runnerUp ? [{ kind: 'runner-up' as const, score: Number(runnerUp.score.toFixed(4)) }] : []),
    ],
    ...(input.latticeUm?.length
      ? { lattice_um: input.latticeUm.map(([x, y]) => [x, y] as [number, number]) }
      : {}),
    words: [...input.words, ...layerWords(agreement)],
  };
}

const percent = (share: number): string => `${Math.round(100 * share)} %`;

/** What the search says of the place, the most important first. */
export const searchWords = (e: Evidence): string[] => [
  `${percent(e.agreeing)} of ${e.patches} patches of the field, each looked at alone, find the place that the map gives.`,
  `The best place elsewhere reaches ${percent(e.rival)} of the agreement.` +
    (e.toldBy > 0
      ? ` ${e.toldBy} shapes that are drawn at only one of the two tell them apart: the scan shows them as here.`
      : ''),
  `Turned, mirrored and upside-down drawings stay ${e.aboveDecoys.toFixed(1)} of their standard deviations below.`,
];

function layerWords(agreement: Agreement): string[] {
  const best = [...agreement.layers].sort((p, q) => q.correlation - p.correlation);
  const named = best.slice(0, 3).map((l) => `${l.name} (${l.correlation.toFixed(2)})`);
  const weak = best.filter((l) => l.correlation < 0.15).map((l) => l.name);
  return [
    ...(named.length > 0 ? [`The layers that agree most with the drawing: ${named.join(', ')}.`] : []),
    ...(weak.length > 0 ? [`Layers that do not show, or run against the drawing: ${weak.join(', ')}.`] : []),
  ];
}
