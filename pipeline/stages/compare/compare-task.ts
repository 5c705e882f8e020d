/** What threads do of a comparison: whatever concerns layers one by one. */
import { HighPass } from '../../kernels/high-pass.ts';
import type { Difference, Field } from './box-fit.ts';
import type { Canvas } from './canvas.ts';
import { type Evidence, type EvidencePlanes, layerEvidence } from './evidence.ts';
import { findDifferences } from './find-differences.ts';
import {
  type Columns,
  type FitTask,
  fitOne,
  type LayerFit,
  type LayerOnCanvas,
  sampleColumns,
} from './fit-layers.ts';
import { SLOW_PX } from './kernel-bank.ts';
import { type DrawTask, draw } from './layer-drawing.ts';
import { localResidual } from './local-fit.ts';
import { misfit } from './misfit.ts';
import { modelImages } from './model-images.ts';
import { type Searched, searchLayer } from './search-layer.ts';
import { seeded } from './seeded.ts';

/** Fill stands out by far, or it is not looked for. */
const FILL_Z = 8;
const FILL_AMPLITUDE = 0.5;

/** Rasters in them lie in shared memory, so that a task is short. */
export interface Tasks {
  draw: { readonly task: DrawTask; readonly result: undefined };
  columns: {
    readonly task: { readonly layer: LayerOnCanvas; readonly pixels: Int32Array; readonly canvas: Canvas };
    readonly result: Columns;
  };
  fit: { readonly task: FitTask; readonly result: LayerFit | null };
  evidence: { readonly task: EvidenceTask; readonly result: Evidence[] };
  fill: { readonly task: { readonly field: Field }; readonly result: Difference[] };
  search: { readonly task: { readonly field: Field; readonly clear: Uint8Array }; readonly result: Searched };
}

export interface EvidenceTask {
  readonly layers: readonly LayerOnCanvas[];
  readonly fits: readonly (LayerFit | null)[];
  /** Layers that are asked about; each has an image and a fit. */
  readonly targets: readonly Target[];
  readonly canvas: Canvas;
}

export interface Target {
  readonly layer: number;
  /** Of the sample that the noise is told from. */
  readonly seed: number;
  /** Where the evidence goes. */
  readonly planes: EvidencePlanes;
}

export type CompareTask = {
  [What in keyof Tasks]: { readonly what: What } & Tasks[What]['task'];
}[keyof Tasks];

export type CompareResult = Tasks[keyof Tasks]['result'];

export function runTask(task: CompareTask): CompareResult {
  switch (task.what) {
    case 'draw':
      draw(task);
      return undefined;
    case 'columns': {
      const { mask, width, height } = task.canvas;
      return sampleColumns(task.layer, task.pixels, task.canvas, new HighPass(mask, width, height, SLOW_PX));
    }
    case 'fit':
      return fitOne(task);
    case 'evidence':
      return evidenceOf(task);
    case 'fill':
      return findDifferences(task.field, { leastZ: FILL_Z, what: 'faults', only: 'gap' }).filter(
        (d) => d.amplitude >= FILL_AMPLITUDE,
      );
    case 'search':
      return searchLayer(task.field, task.clear);
  }
}

function evidenceOf({ layers, fits, targets, canvas }: EvidenceTask): Evidence[] {
  const { mask, width, height } = canvas;
  const highPass = new HighPass(mask, width, height, SLOW_PX);
  const asked = new Set(targets.map((t) => t.layer));
  const models = modelImages(
    layers,
    fits.map((fit, n) => (asked.has(n) ? fit : null)),
    canvas,
    highPass,
  );
  return targets.map(({ layer, seed, planes }) => {
    const [fit, model] = [fits[layer]!, models[layer]!];
    const residual = localResidual(layers[layer]!.image!, model.image, canvas, fit.residual);
    const off = misfit(residual, model.squares, canvas);
    models[layer] = null;
    return layerEvidence(residual, off, fit.kernels.get(layer)!, canvas, highPass, seeded(seed), planes);
  });
}
