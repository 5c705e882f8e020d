/** From portraits and drawing to fields of evidence, fill and bias, layer by layer. */
import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { squaredDistances } from '../../kernels/distance-transform.ts';
import { HighPass } from '../../kernels/high-pass.ts';
import { sharedMask, sharedRaster } from '../../kernels/shared-raster.ts';
import type { Difference, Field } from './box-fit.ts';
import { boxUm, type Canvas, createCanvas, onCanvas, type PixelBox } from './canvas.ts';
import type { Target } from './compare-task.ts';
import type { Crew } from './crew.ts';
import type { Evidence } from './evidence.ts';
import { type FillGroup, groupFill } from './fill-groups.ts';
import { fitLayers, type LayerFit, type LayerOnCanvas } from './fit-layers.ts';
import { SLOW_PX } from './kernel-bank.ts';
import { type DrawnShape, type LayerBias, type LayerShapes, NO_BIAS } from './layer-drawing.ts';
import { seeded } from './seeded.ts';

/** Pixels at the rim of the data that are not judged: filters look beyond it. */
const RIM_PX = 9;
/**
 * So far inside the judged area fill and halos from beyond the field, of which nothing is known, still leave more misfit
 * than elsewhere: in trials all of the strongest decoys lay there.
 */
const NEAR_RIM_PX = 7;
/** A bias is believed where the fit follows the image at least this well. */
const LEAST_CORRELATION = 0.25;

export interface PortraitImage {
  readonly name: string;
  /** On the plate grid, NaN where there is no data. */
  readonly values: Float32Array;
}

export interface PreparedLayer {
  readonly name: string;
  /** Position in the process table. */
  readonly number: number;
  readonly shapes: LayerShapes;
  readonly fit: LayerFit | null;
  readonly bias: LayerBias;
  readonly fill: readonly FillGroup[];
  /** Null where the layer cannot be judged; `doubt` says why. */
  readonly field: Field | null;
  readonly evidence: Evidence | null;
  readonly doubt: string | null;
}

export interface Prepared {
  readonly canvas: Canvas;
  readonly judged: Uint8Array;
  readonly layers: readonly PreparedLayer[];
}

export type Canvased = (canvas: Canvas) => LayerShapes[];

/**
 * @param seed of the samples that are drawn
 */
export async function prepareLayers(
  shapesOn: Canvased,
  heights: Layers,
  grid: PlateGrid,
  portraits: readonly PortraitImage[],
  seed: number,
  crew: Crew,
): Promise<Prepared> {
  const seen = new Map(heights.layers.map((l) => [l.name, l]));
  const usable = portraits.filter((p) => seen.get(p.name)?.seen === 'whole' && hasData(p.values));
  const canvas = createCanvas(
    grid,
    usable.map((p) => p.values),
  );
  const judged = eroded(canvas.mask, RIM_PX, canvas);
  const deep = eroded(judged, NEAR_RIM_PX, canvas);
  const rim = sharedMask(judged.length);
  for (let n = 0; n < rim.length; n++) rim[n] = judged[n]! - deep[n]!;
  const highPass = new HighPass(canvas.mask, canvas.width, canvas.height, SLOW_PX);
  const shapes = shapesOn(canvas);
  const fill: FillGroup[][] = [];
  let bias: LayerBias[] = shapes.map(() => NO_BIAS);
  const images = shapes.map(({ layer }) => {
    const portrait = usable.find((p) => p.name === layer.name);
    return portrait ? highPass.apply(onCanvas(canvas, grid, portrait.values)) : null;
  });
  const planes = images.map((image) => {
    if (!image) return null;
    return { gain: sharedRaster(image.length), trust: sharedRaster(image.length) };
  });
  const pixels = canvas.width * canvas.height;
  const coverage = shapes.map(() => {
    const drawn = sharedRaster(pixels);
    return { drawn, known: drawn, edges: sharedRaster(pixels) };
  });
  const place = (): Promise<LayerOnCanvas[]> =>
    Promise.all(
      shapes.map(async (own, n) => {
        const added = (fill[n] ?? []).flatMap((group) =>
          group.members.map((d) => fillShape(d, canvas.grid, bias[n]!)),
        );
        const all = [...own.fill, ...added];
        const rasters = coverage[n]!;
        if (all.length === 0) rasters.known = rasters.drawn;
        else if (rasters.known === rasters.drawn) rasters.known = sharedRaster(pixels);
        const task = { shapes: own.shapes, fill: all, grid: canvas.grid, bias: bias[n]!, rasters };
        await crew.do('draw', task);
        const span = seen.get(own.layer.name)!;
        return {
          ...{ name: own.layer.name, bottomUm: span.bottom_um, topUm: span.top_um },
          ...{ rasters: { ...rasters }, image: images[n]! },
        };
      }),
    );
  const evidence = async (
    layers: readonly LayerOnCanvas[],
    fits: readonly (LayerFit | null)[],
    asked: readonly number[],
    round: number,
  ): Promise<Map<number, Evidence>> => {
    const targets = asked.map(
      (layer): Target => ({ layer, seed: seed * 1000 + 100 * round + layer, planes: planes[layer]! }),
    );
    const runs = inRuns(targets, crew.threads);
    const found = await Promise.all(
      runs.map((run) => crew.do('evidence', { layers, fits, targets: run, canvas })),
    );
    // What a thread wrote into shared memory comes back as another view of it.
    return new Map(found.flat().map((e, n) => [asked[n]!, { ...e, ...planes[asked[n]!]! }]));
  };
  const field = (layer: LayerOnCanvas, own: Evidence): Field => fieldOf(canvas, layer, own, judged, rim);
  const random = seeded(seed);
  // First where the edges lie, then what was added, then everything else.
  let layers = await place();
  let fits = await fitLayers(layers, canvas, crew, random);
  bias = fits.map((fit) => biasOf(fit, canvas.grid.pixel_um));
  layers = await place();
  const conductors = layers.flatMap((_, n) => (fits[n] && shapes[n]!.layer.role === 'conductor' ? [n] : []));
  const early = await evidence(layers, fits, conductors, 0);
  const candidates = await Promise.all(
    layers.map(async (layer, n) => {
      const own = early.get(n);
      const extra = own ? await crew.do('fill', { field: field(layer, own) }) : [];
      return { extra, known: layer.rasters.known };
    }),
  );
  fill.push(...groupFill(candidates, judged, canvas.width));
  layers = await place();
  fits = await fitLayers(layers, canvas, crew, random);
  const doubts = layers.map((layer, n) =>
    doubtOf(layer.name, seen.get(layer.name)!.seen, images[n] !== null, fits[n]!),
  );
  const judgeable = layers.flatMap((_, n) => (doubts[n] === null ? [n] : []));
  const late = await evidence(layers, fits, judgeable, 1);
  const prepared = layers.map((layer, n): PreparedLayer => {
    const own = late.get(n) ?? null;
    return {
      ...{ name: layer.name, number: n, shapes: shapes[n]!, fit: fits[n]!, bias: bias[n]!, fill: fill[n]! },
      ...{ field: own && field(layer, own), evidence: own, doubt: doubts[n]! },
    };
  });
  return { canvas, judged, layers: prepared };
}

/** Cut into runs of neighbours, which show in each other, as many as there are threads. */
function inRuns<T>(list: readonly T[], runs: number): T[][] {
  const length = Math.max(1, Math.ceil(list.length / runs));
  return Array.from({ length: Math.ceil(list.length / length) }, (_, n) =>
    list.slice(n * length, (n + 1) * length),
  );
}

function doubtOf(name: string, seen: string, hasImage: boolean, fit: LayerFit | null): string | null {
  if (seen === 'outside') return `${name} lies outside the scan and was not compared.`;
  if (seen === 'cut') return `The scan ends inside ${name}; it was not compared.`;
  if (!hasImage) return `There is no image of ${name} to compare.`;
  if (!fit) return `Nothing is drawn on ${name} in the field; how its metal looks could not be learnt.`;
  if (fit.correlation < LEAST_CORRELATION)
    return (
      `The image of ${name} follows its drawing too little to be judged (correlation ${fit.correlation.toFixed(2)}): its ` +
      `contrast lies below the noise, or its image elsewhere. Whether it was made as drawn cannot be told from this scan.`
    );
  return null;
}

function hasData(values: Float32Array): boolean {
  let count = 0;
  for (let n = 0; n < values.length; n++) if (Number.isFinite(values[n]!)) count++;
  return count > 0.3 * values.length;
}

function eroded(mask: Uint8Array, by: number, { width, height }: Canvas): Uint8Array {
  const distance = squaredDistances(
    mask.map((v) => 1 - v),
    width,
    height,
  );
  const out = sharedMask(mask.length);
  for (let n = 0; n < out.length; n++) out[n] = distance[n]! > by * by ? 1 : 0;
  return out;
}

const fieldOf = (
  canvas: Canvas,
  layer: LayerOnCanvas,
  evidence: Evidence,
  judged: Uint8Array,
  rim: Uint8Array,
): Field => ({
  rim,
  width: canvas.width,
  height: canvas.height,
  gain: evidence.gain,
  coupling: evidence.coupling,
  trust: evidence.trust,
  drawn: layer.rasters.drawn,
  known: layer.rasters.known,
  judged,
});

function biasOf(fit: LayerFit | null, pixelUm: number): LayerBias {
  if (!fit || fit.correlation < LEAST_CORRELATION) return NO_BIAS;
  const limit = (v: number, most: number): number => Math.min(Math.max(v, -most), most);
  return {
    wideningUm: limit(fit.wideningPx, 1) * pixelUm,
    shiftUm: [limit(fit.shiftPx[0], 2) * pixelUm, -limit(fit.shiftPx[1], 2) * pixelUm],
  };
}

/** A found fill shape as if it had been drawn: the layer's bias is added again when it is rendered. */
function fillShape(d: Difference, grid: PlateGrid, bias: LayerBias): DrawnShape {
  const inset: PixelBox = d;
  const [x0, y0, x1, y1] = boxUm(grid, inset);
  const [w, [sx, sy]] = [bias.wideningUm, bias.shiftUm];
  // Fitted boxes have whole pixels for sides: the area found decides how far the edges really reach.
  const pull = ((1 - Math.sqrt(Math.min(Math.max(d.amplitude, 0.7), 1.3))) * Math.min(x1 - x0, y1 - y0)) / 2;
  const box = [x0 + w + pull - sx, y0 + w + pull - sy, x1 - w - pull - sx, y1 - w - pull - sy] as const;
  return {
    xyUm: Float64Array.from([box[0], box[1], box[2], box[1], box[2], box[3], box[0], box[3]]),
    boxUm: box,
  };
}
