/** The measure stage: portraits and drawing in, measurements.json out. */
import type { Acquisition } from '../../../shared/artefacts/campaign.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { relativeDepthScale, relativeScale } from '../../../shared/uncertainty/limits.ts';
import type { Layout } from '../../formats/layout.ts';
import type { DrawnShapes } from './drawn-shapes.ts';
import { geometryResolution } from './geometry.ts';
import { drawnShapes, type LayerInput, type LayerPortrait, prepareLayer } from './layer-input.ts';
import { type BlurFinding, blurOf, blurReadings } from './layer-optics.ts';
import { type LayerContrast, materialsOf } from './materials.ts';
import { bareLayer, type MeasuredLayer, measureLayer } from './measure-layer.ts';
import { METHODS } from './methods.ts';
import type { ScaleOfPixel } from './quantities.ts';
import { measureResolution } from './resolution.ts';
import type { BlockSource } from './scan-block.ts';
import { chooseVias, viaBlurs, viaNoise } from './via-sites.ts';

export interface MeasureJob {
  readonly placement: Placement;
  readonly process: Process | null;
  /** null where there is no drawing in the frame of the plates. */
  readonly drawing: { readonly layout: Layout; readonly top: string } | null;
  readonly layers: Layers;
  readonly portraits: readonly LayerPortrait[];
  readonly grid: PlateGrid;
  readonly stepUm: number;
  readonly zUm: readonly number[];
  /** Unit of the volume. */
  readonly unit: string;
  readonly acquisition: Acquisition | null;
  readonly source: BlockSource;
}

const SEED = 20240;

/** @throws InputFault when the volume cannot be read again */
export async function measureScan(job: MeasureJob): Promise<Measurements> {
  const { placement, grid } = job;
  const doubts: string[] = [];
  const locked = placement.verdict === 'locked';
  const basis = locked && job.drawing && job.process ? 'drawing' : 'image';
  if (!locked)
    doubts.push(
      'No widths: the place of the scan on the die is not certain, so it is not known what is drawn where.',
    );
  else if (!job.drawing || !job.process)
    doubts.push('No widths: there is no drawing to say where edges should be.');
  const measured = basis === 'drawing' ? measureAgainstDrawing(job, doubts) : [];
  const resolution = await measureResolution(job, measured);
  const depthUm = job.zUm.at(-1)! - job.zUm[0]! + job.stepUm;
  const contrasts = measured.flatMap(({ contrast, result }): LayerContrast[] =>
    contrast ? [{ name: result.name, ...contrast, stated: materialOf(job.process, result.name) }] : [],
  );
  if (job.layers.basis === 'nominal' && basis === 'drawing')
    doubts.push(
      'No thicknesses: the heights of the layers are those of the process table, not of the image.',
    );
  return {
    version: 1,
    basis,
    doubts: [...doubts, ...resolution.doubts],
    layers: measured.map(({ result }) => result),
    resolution: [
      ...resolution.list,
      ...geometryResolution(grid.pixel_um, job.stepUm, depthUm, job.acquisition),
    ],
    ...{ edge_spread: resolution.edge, depth_spread: resolution.depth, ring_correlation: resolution.rings },
    materials: materialsOf(contrasts, job.unit, job.acquisition?.energy_keV),
    methods: METHODS,
  };
}

const materialOf = (process: Process | null, name: string): string | null =>
  process?.layers.find((layer) => layer.name === name)?.material ?? null;

function measureAgainstDrawing(job: MeasureJob, doubts: string[]): MeasuredLayer[] {
  const { grid, layers, placement } = job;
  const { layout, top } = job.drawing!;
  const process = job.process!;
  const scale = scaleOf(placement, grid);
  const relativeDepth = relativeDepthScale(placement);
  const shapes = new Map<string, DrawnShapes>();
  for (const layer of process.layers)
    shapes.set(layer.name, drawnShapes(layout, top, grid, [...layer.drawn, ...(layer.fill ?? [])]));
  const inputs: LayerInput[] = [];
  process.layers.forEach((layer, n) => {
    const portrait = job.portraits.find((p) => p.name === layer.name);
    const span = layers.layers.find((l) => l.name === layer.name);
    if (!portrait || !span) return;
    inputs.push(prepareLayer(layer, span, portrait, shapes.get(layer.name)!, grid, SEED + n));
  });
  const blurs = blursOf(inputs, grid);
  if (blurs.common === null && inputs.length > 0)
    doubts.push('No widths: too few edges stand out of the noise to tell the blur of the scan.');
  const conductors = inputs.filter((input) => input.layer.role !== 'via');
  const measured = new Map<LayerInput, MeasuredLayer>();
  const measure = (input: LayerInput): MeasuredLayer => {
    const own = blurs.own.get(input.layer.name) ?? null;
    if (!own && !blurs.common) return bareLayer(input, layers.basis, job.stepUm, relativeDepth, process);
    const vias = neighboursOf(
      input,
      [...measured.keys()].filter((o) => o.layer.role === 'via'),
    );
    return measureLayer(input, {
      ...{ grid, scale, relativeDepth, process, basis: layers.basis, stepUm: job.stepUm },
      seed: SEED + 100 + inputs.indexOf(input),
      blur: own ?? blurs.common!,
      blurFrom: own ? 'edges of this layer' : 'edges of the other layers',
      neighbours: neighboursOf(input, conductors).map((other) => other.shapes),
      placementUm: placementAt(job, middleOf(input)),
      plugs: vias.map((via) => {
        const { contrast } = measured.get(via)!;
        return { shapes: via.shapes, contrast: contrast && Math.abs(contrast.contrast) };
      }),
    });
  };
  // Vias first: how strong they are says how far they shine into the conductors.
  for (const role of ['via', 'conductor', 'other'] as const)
    for (const input of inputs) if (input.layer.role === role) measured.set(input, measure(input));
  return inputs.map((input) => measured.get(input)!);
}

const middleOf = ({ span }: LayerInput): number => (span.bottom_um + span.top_um) / 2;

/**
 * Uncertainty of the placement at a height. It is stated for the middle; a tilt, too, is known only so well: for
 * landmarks spread evenly over the depth it grows as sqrt(1 + 12 (z - z0)^2 / depth^2).
 */
function placementAt({ placement, zUm }: MeasureJob, z: number): { x: number; y: number } | null {
  const { uncertainty_um: u } = placement;
  if (!u) return null;
  const [low, high] = [zUm[0]!, zUm.at(-1)!];
  const growth = high > low ? Math.sqrt(1 + 12 * ((z - (low + high) / 2) / (high - low)) ** 2) : 1;
  return { x: u.x * growth, y: u.y * growth };
}

/** The next of `others` below and above: what shines through lies there. */
function neighboursOf(input: LayerInput, others: readonly LayerInput[]): LayerInput[] {
  const rest = others.filter((o) => o !== input);
  const below = rest.filter((o) => middleOf(o) < middleOf(input)).sort((a, b) => middleOf(b) - middleOf(a));
  const above = rest.filter((o) => middleOf(o) > middleOf(input)).sort((a, b) => middleOf(a) - middleOf(b));
  return [...below.slice(0, 1), ...above.slice(0, 1)];
}

/** Fewest edges for a layer to have a blur of its own. */
const OWN_BLUR_EDGES = 30;

function blursOf(
  inputs: readonly LayerInput[],
  grid: PlateGrid,
): {
  own: Map<string, BlurFinding>;
  common: BlurFinding | null;
} {
  const own = new Map<string, BlurFinding>();
  const all: number[] = [];
  const medians: number[] = [];
  for (const input of inputs) {
    if (!input.noise) continue;
    const readings = blurReadings(input.sites, input.profiles, input.noise);
    const found = blurOf(readings);
    all.push(...readings);
    if (!found) continue;
    medians.push(found.sdPx);
    if (found.n >= OWN_BLUR_EDGES) own.set(input.layer.name, found);
  }
  const fromLines = blurOf(all);
  const common = fromLines ?? blurOf(blursOfVias(inputs, grid));
  if (!common) return { own, common };
  // Layers differ: a blur taken from others carries that difference.
  const between =
    medians.length > 1 ? (Math.max(...medians) - Math.min(...medians)) / Math.sqrt(12) : 0.05 * common.sdPx;
  return { own, common: { ...common, uncertaintyPx: Math.hypot(common.uncertaintyPx, between) } };
}

function blursOfVias(inputs: readonly LayerInput[], grid: PlateGrid): number[] {
  return inputs.flatMap((input) => {
    if (input.layer.role !== 'via') return [];
    const sites = chooseVias(input.shapes, grid, LEAST_GAP_PX, MOST_VIAS, SEED);
    const noise = viaNoise(input.sample, sites, LEAST_GAP_PX / 5);
    return noise ? viaBlurs(input.sample, sites, noise) : [];
  });
}

/** Room round a via before the blur is known, pixels, and how many are looked at. */
const LEAST_GAP_PX = 5;
const MOST_VIAS = 150;

/**
 * The pixel size comes from the placement. Its uncertainty is not stated there, but that of the middle is: for points
 * spread evenly over a field, a scale is known to sqrt(12) u / extent.
 */
function scaleOf(placement: Placement, grid: PlateGrid): ScaleOfPixel {
  const extent = Math.sqrt(grid.width_px * grid.height_px) * grid.pixel_um;
  const u = Math.max(placement.uncertainty_um?.x ?? 0, placement.uncertainty_um?.y ?? 0);
  return {
    pixelUm: grid.pixel_um,
    relative: relativeScale(u, extent),
    how: `Scale from the placement: its standard uncertainty of ${(u * 1000).toFixed(1)} nm over a field of ${extent.toFixed(1)} µm.`,
  };
}
