/** The compare stage: what the image shows that is not drawn, and what is drawn that it does not show. */
import { type Findings, findingsSchema } from '../../../shared/artefacts/findings.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import { joinedConductors, type Process } from '../../../shared/artefacts/process.ts';
import type { Selftest } from '../../../shared/artefacts/selftest.ts';
import { gridBoxUm, type PlateGrid } from '../../../shared/frames.ts';
import type { Layout } from '../../formats/layout.ts';
import { labelComponents } from '../../kernels/components.ts';
import { upperMedian } from '../../kernels/statistics.ts';
import type { Difference, Field } from './box-fit.ts';
import { type Canvas, clip, grow } from './canvas.ts';
import { type Classified, classifyLayer, type LayerContext } from './classify.ts';
import { type PortraitImage, type PreparedLayer, prepareLayers } from './compare-layers.ts';
import { type Crew, openCrew } from './crew.ts';
import { COUPLING_REACH } from './evidence.ts';
import { cutByRim, type FillGroup } from './fill-groups.ts';
import { withoutGhosts } from './ghosts.ts';
import { type LayerShapes, readShapes } from './layer-drawing.ts';
import { biasEntry, fillOf, findingOf, type NetsAt } from './report.ts';
import { clearOfFill, type Searched } from './search-layer.ts';
import { seeded } from './seeded.ts';
import { squareCoupling } from './seeds.ts';
import { selfTest, type TestedLayer } from './self-test.ts';
import { type Zones, zoneAt, zonesOf } from './zones.ts';

export type { NetsAt } from './report.ts';

export interface CompareInput {
  readonly layout: Layout;
  readonly top: string;
  readonly process: Process;
  readonly placement: Pick<Placement, 'verdict'>;
  readonly layers: Layers;
  readonly grid: PlateGrid;
  readonly portraits: readonly PortraitImage[];
  readonly netsAt?: NetsAt;
  /** Of the sampling and the planting. */
  readonly seed?: number;
  /** False to leave the self-test out. */
  readonly selfTest?: boolean;
  /** Threads; the outcome is the same for any number of them. */
  readonly threads?: number;
  readonly signal?: AbortSignal;
}

export interface CompareOutcome {
  readonly findings: Findings;
  readonly selftest: Selftest | null;
}

/** Per 1000 um2 of the field, over all layers together: a third of the one that is allowed, for what decoys miss. */
const FALSE_ALLOWED = 0.3;
/** More findings than this share of a layer's drawn area are no faults of fabrication. */
const MOST_DIFFERENT = 0.1;
/** Nor are more than so many to 1000 um2, and more than so many in all. */
const MOST_PER_1000UM2 = 50;
const MANY = 12;
/**
 * A round blob fills 0.79 of its box, a square all of it; of either the fit finds a little less. That sides are equal says
 * something of a shape of many pixels only: smaller ones must fill their box nearly fully.
 */
const FULL_SQUARE = { small: 0.93, large: 0.82, largePx: 14 };
/** Fill of other layers has sides of two thirds to three halves of the length: logarithm of the ratio. */
const LIKE_FILL = 0.4;
/** Where a layer has fill of its own, only what is as large to a pixel or so. */
const SAME_FILL = 0.08;
/** Odds that such a shape is a fault: in trials nearly all were fill. */
const LONE_SQUARE_ODDS = 0.4;
/** A layer is judged where a square with sides of so many usual widths would be found; what is smaller the self-test says. */
const TOLD_WIDTHS = 2;

export async function compareScan(input: CompareInput): Promise<CompareOutcome> {
  if (input.placement.verdict !== 'locked')
    return {
      findings: nothing([
        'The place of this scan on the die is not certain, so nothing was judged: image and drawing were not compared.',
      ]),
      selftest: null,
    };
  const crew = openCrew(input.threads ?? 1, input.signal);
  try {
    return await compare(input, input.seed ?? 1, crew);
  } finally {
    await crew.close();
  }
}

async function compare(input: CompareInput, seed: number, crew: Crew): Promise<CompareOutcome> {
  const prepared = await prepareLayers(
    (canvas) => readShapes(input.layout, input.top, input.process, gridBoxUm(canvas.grid)),
    input.layers,
    input.grid,
    input.portraits,
    seed,
    crew,
  );
  const { canvas, judged } = prepared;
  const pixelUm = canvas.grid.pixel_um;
  const areaUm2 = judged.reduce((sum, v) => sum + v, 0) * pixelUm * pixelUm;
  const doubts = prepared.layers.flatMap((l) => (l.doubt ? [l.doubt] : []));
  const judgeable = prepared.layers.filter((l) => l.field !== null);
  const raw = await Promise.all(
    judgeable.map(async (layer) => {
      const clear = clearOfFill(layer.field!, layer.fill);
      return { layer, clear, ...(await crew.do('search', { field: layer.field!, clear })) };
    }),
  );
  const own = withoutGhosts(
    raw.map((s) => ({
      number: prepared.layers.indexOf(s.layer),
      field: s.layer.field!,
      fit: s.layer.fit!,
      noise: s.layer.evidence!.noise,
      found: s.found,
      decoys: s.decoys,
    })),
  );
  const allowed = Math.min((FALSE_ALLOWED * Math.max(areaUm2, 1)) / 1000 / judgeable.length, 0.5);
  const searched = raw.map((s, n): Judged => {
    const { found, decoys } = own[n]!;
    const field = s.layer.field!;
    const zones = zonesOf(field, decoys, s.decoyZ, allowed);
    const above = (d: Difference): boolean => d.z >= zoneAt(zones, field, d).thresholdZ;
    return { ...s, found: found.filter(above), decoys: decoys.filter(above), zones };
  });
  const out: Findings['findings'] = [];
  const judgedArea: Record<string, number> = {};
  const tested: TestedLayer[] = [];
  let falseSeen = 0;
  for (const s of searched) {
    const { layer, zones } = s;
    const { thresholdZ } = zones.open;
    const context = contextOf(layer, prepared.layers, input.process, pixelUm);
    const side = Math.min(Math.max(Math.round(context.widthPx), 1), 21);
    const told = Math.min(Math.round(TOLD_WIDTHS * side), 21);
    const least = Math.sqrt(Math.max(squareCoupling(layer.field!.coupling, told), 0));
    if (least < thresholdZ) {
      doubts.push(
        `${layer.name} is too faint in this scan to be judged: a shape ${TOLD_WIDTHS} times as wide as is usual there would ` +
          `stand out from the noise by ${least.toFixed(1)} standard deviations, and ${thresholdZ.toFixed(1)} are needed. Whether it ` +
          `was made as drawn cannot be told from this scan.`,
      );
      continue;
    }
    const differences = s.found;
    const changed = differences.reduce((sum, d) => sum + d.areaPx, 0);
    const drawnArea = layer.field!.drawn.reduce((sum, v, at) => sum + (judged[at] ? v : 0), 0);
    const many = differences.length > Math.max(MANY, (MOST_PER_1000UM2 * areaUm2) / 1000);
    if (many || (differences.length > 20 && changed > MOST_DIFFERENT * drawnArea)) {
      doubts.push(
        `Image and drawing of ${layer.name} differ at ${differences.length} places, too many for faults of ` +
          `fabrication; the layer was not judged.`,
      );
      continue;
    }
    judgedArea[layer.name] = areaUm2;
    falseSeen += s.decoys.length;
    const classified = classifyLayer(differences, context);
    const elsewhere = prepared.layers.filter((l) => l !== layer).flatMap((l) => l.fill);
    const atRim = classified.filter((c) => c.alone && cutByRim(c.box, judged, canvas.width));
    if (atRim.length > 0) doubts.push(rimDoubt(atRim.length, layer.name));
    for (const found of classified.filter((c) => !atRim.includes(c)))
      out.push(
        findingOf(
          likeFill(found, elsewhere, layer.fill.length > 0 ? SAME_FILL : LIKE_FILL),
          layer.name,
          zoneAt(zones, layer.field!, found.box),
          canvas,
          input.netsAt,
        ),
      );
    tested.push({
      name: layer.name,
      context: { ...context, conductors: null },
      zones,
      free: freePlaces(differences, s.clear, canvas),
      sidePx: side,
      metalTrust: metalTrust(layer.field!),
    });
  }
  out.sort((a, b) => b.probability - a.probability || a.layer.localeCompare(b.layer));
  const findings: Findings = {
    version: 1,
    judged_area_um2: judgedArea,
    findings: out.map((f, n) => ({ ...f, id: `F${String(n + 1).padStart(4, '0')}` })),
    fill: prepared.layers.flatMap((layer) => fillOf(layer, canvas, judged)),
    bias: judgeable.filter((l) => l.name in judgedArea).map((layer) => biasEntry(layer, pixelUm)),
    doubts,
  };
  return {
    findings: findingsSchema.parse(findings),
    selftest:
      input.selfTest === false ? null : selfTest(tested, pixelUm, { seen: falseSeen, areaUm2 }, seeded(seed)),
  };
}

const rimDoubt = (count: number, layer: string): string =>
  `On ${layer} the rim of the field cuts off ${count === 1 ? 'a shape' : `${count} shapes`} that ${
    count === 1 ? 'is' : 'are'
  } not drawn and touch${count === 1 ? 'es' : ''} nothing: fill or extra metal, which a cut-off shape does not tell.`;

/**
 * A full square that touches nothing, about as large as fill of other layers where this one shows none of that size, may be the
 * one shape of its fill that lies in the field: it is told, and told to be less likely than not.
 * @param within most that sides differ, as the logarithm of their ratio
 */
function likeFill(found: Classified, elsewhere: readonly FillGroup[], within: number): Classified {
  const [w, h] = [found.box.x1 - found.box.x0, found.box.y1 - found.box.y0];
  const full = Math.min(w, h) < FULL_SQUARE.largePx ? FULL_SQUARE.small : FULL_SQUARE.large;
  const square = Math.abs(w - h) <= 1 && found.areaPx >= full * w * h;
  const like = elsewhere.some(({ sizePx }) => Math.abs(Math.log(w / sizePx[0])) < within);
  return found.alone && square && like ? { ...found, kindOdds: LONE_SQUARE_ODDS, maybeFill: true } : found;
}

function nothing(doubts: string[]): Findings {
  return { version: 1, judged_area_um2: {}, findings: [], fill: [], bias: [], doubts };
}

interface Judged extends Searched {
  readonly layer: PreparedLayer;
  /** Judged, and clear of fill and its edges. */
  readonly clear: Uint8Array;
  readonly zones: Zones;
}

function contextOf(
  layer: PreparedLayer,
  all: readonly PreparedLayer[],
  process: Process,
  pixelUm: number,
): LayerContext {
  const field = layer.field!;
  const mask = new Uint8Array(field.drawn.length);
  for (let n = 0; n < mask.length; n++) mask[n] = field.drawn[n]! > 0.5 ? 1 : 0;
  const vias = all.filter(
    (l) =>
      l.field !== null &&
      l.shapes.layer.role === 'via' &&
      joinedConductors(process, l.shapes.layer).includes(layer.name),
  );
  return {
    role: layer.shapes.layer.role,
    field,
    conductors: labelComponents(mask, field.width, field.height, 8).labels,
    vias: vias.map((l) => l.field!.drawn),
    widthPx: usualSide(layer.shapes) / pixelUm,
  };
}

/** Shorter side of the usual shape of a layer: the median of the narrower half. */
function usualSide(shapes: LayerShapes): number {
  const sides = shapes.shapes.map(({ boxUm: b }) => Math.min(b[2] - b[0], b[3] - b[1])).sort((a, b) => a - b);
  return sides.length === 0 ? 0.2 : sides[Math.floor(sides.length / 4)]!;
}

function metalTrust({ drawn, judged, trust }: Field): number {
  const { median, count } = upperMedian(trust, (n) => judged[n] !== 0 && drawn[n]! > 0.5);
  return count > 0 ? median : Infinity;
}

/** 1 where a phantom edit may be planted: judged, clear of fill and of all that was found. */
function freePlaces(found: readonly Difference[], clear: Uint8Array, canvas: Canvas): Uint8Array {
  const free = clear.slice();
  for (const d of found) {
    const box = clip(grow(d, 2 * COUPLING_REACH), canvas);
    for (let y = box.y0; y < box.y1; y++) free.fill(0, y * canvas.width + box.x0, y * canvas.width + box.x1);
  }
  return free;
}
