/**
 * Image nets: which connections the image shows by itself, to be held against what the findings say. Starting from the
 * drawn shapes, wires are cut where the image strongly says that metal is absent, and joined where it strongly says that
 * a drawn gap is filled. Everything else stays as drawn, since most of a laminogram says nothing about a place.
 */
import type { PlateGrid } from '../../../shared/frames.ts';
import { type Box, boxesMeet, unionBox } from '../../../shared/polygon.ts';
import { renderCoverage } from '../../kernels/coverage.ts';
import { percentile } from '../../kernels/statistics.ts';
import { ringOf } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import type { Finding } from './effects.ts';
import { type LayerEvidence, layerEvidence } from './layer-evidence.ts';
import { type Probe, probesOf } from './probes.ts';

export interface ImageNets {
  /** Places where the image by itself parts or joins, in the form of findings. */
  readonly suggestions: readonly Finding[];
  /** Whether a place of a kind was looked at on a layer where that tells something. */
  probedAt(kind: Finding['kind'], layer: string, boxUm: Box): boolean;
  /** Numbers of the nets that some probe spoke of. */
  readonly seen: ReadonlySet<number>;
  /** By layer and kind, how well the probes tell metal from none. */
  readonly layers: readonly {
    readonly layer: string;
    readonly kind: Probe['kind'];
    readonly probes: number;
    /** Spread of the probes in units of metal; those of a kind on a layer judge only where it is small. */
    readonly spread: number;
    readonly judged: boolean;
  }[];
}

/** A portrait that follows its drawing less than this is not that layer, or nothing is to be seen. */
const LEAST_CORRELATION = 0.3;
/** Probes of one kind on one layer from which their own spread can be told. */
const LEAST_PROBES = 30;
/** Share of the metal that must be gone, or there, beyond what is usual on the layer. */
const LEAST_CHANGE = 0.6;
/** In standard deviations of the probes of the same kind on the layer. */
const LEAST_SPREADS = 6.5;
/** One place in so many is a fault, before the image is looked at. */
const PRIOR = 1e-4;

/** @param portraitOf values of a layer on the grid, NaN where there is no data */
export function imageNets(
  drawn: DrawnNets,
  grid: PlateGrid,
  portraitOf: (layer: string) => Float32Array | undefined,
): ImageNets {
  const suggestions: Finding[] = [];
  const seen = new Set<number>();
  const judgedProbes: Probe[] = [];
  const layers: ImageNets['layers'][number][] = [];
  drawn.store.layers.forEach(({ name }, layer) => {
    const portrait = portraitOf(name);
    const probes = portrait ? probesOf(drawn, layer, grid.pixel_um / drawn.store.unitUm) : [];
    if (!portrait || probes.length < LEAST_PROBES) return;
    const evidence = evidenceOf(drawn, layer, portrait, grid);
    if (!evidence || Math.abs(evidence.correlation) < LEAST_CORRELATION) return;
    for (const kind of ['open', 'bridge', 'missing-via'] as const) {
      const read = readings(drawn, evidence, probes, kind);
      const judged = judge(read);
      if (read.length > 0) layers.push({ layer: name, kind, probes: read.length, ...judged.quality });
      if (!judged.quality.judged) continue;
      for (const { probe } of read) {
        judgedProbes.push(probe);
        for (const net of probe.nets) seen.add(net);
      }
      for (const found of merged(judged.found))
        suggestions.push(suggestion(drawn, found, suggestions.length));
    }
  });
  const probedAt: ImageNets['probedAt'] = (kind, layer, boxUm) => {
    const box = boxUm.map((v) => v / drawn.store.unitUm) as unknown as Box;
    const sought = kind === 'missing-shape' ? 'open' : kind;
    return judgedProbes.some(
      (probe) =>
        probe.kind === sought && drawn.store.layers[probe.layer]!.name === layer && boxesMeet(probe.box, box),
    );
  };
  return { suggestions, probedAt, seen, layers };
}

interface Reading {
  readonly probe: Probe;
  /** 0 where the image is as drawn, 1 where metal is gone, or there, as a whole. */
  readonly change: number;
}

function evidenceOf(
  drawn: DrawnNets,
  layer: number,
  portrait: Float32Array,
  grid: PlateGrid,
): LayerEvidence | null {
  const { store } = drawn;
  const outlines: number[][] = [];
  const widths: number[] = [];
  for (let n = store.layerStarts[layer]!; n < store.layerStarts[layer + 1]!; n++) {
    outlines.push(Array.from(ringOf(store, n), (v) => v * store.unitUm));
    widths.push(
      Math.min(
        store.boxes[4 * n + 2]! - store.boxes[4 * n]!,
        store.boxes[4 * n + 3]! - store.boxes[4 * n + 1]!,
      ),
    );
  }
  const typical = percentile(Float64Array.from(widths).sort(), 0.5) * store.unitUm;
  return layerEvidence(portrait, renderCoverage(outlines, grid), grid, typical / grid.pixel_um);
}

function readings(
  drawn: DrawnNets,
  evidence: LayerEvidence,
  probes: readonly Probe[],
  kind: Probe['kind'],
): Reading[] {
  const { unitUm } = drawn.store;
  const pixel = evidence.grid.pixel_um / unitUm;
  return probes.flatMap((probe): Reading[] => {
    if (probe.kind !== kind) return [];
    const [x0, y0, x1, y1] = probe.box;
    const excess = evidence.excess([x0 * unitUm, y0 * unitUm, x1 * unitUm, y1 * unitUm]);
    const response = evidence.response((x1 - x0) / pixel, (y1 - y0) / pixel);
    if (excess === null || !(response > 0.05)) return [];
    return [{ probe, change: (kind === 'bridge' ? excess : -excess) / response }];
  });
}

/** The probes are their own yardstick: nearly all of them are as drawn, whatever halos and gain do to them. */
function judge(read: readonly Reading[]): {
  found: Found[];
  quality: { spread: number; judged: boolean };
} {
  if (read.length < LEAST_PROBES) return { found: [], quality: { spread: Infinity, judged: false } };
  const changes = Float64Array.from(read, (r) => r.change).sort();
  const middle = percentile(changes, 0.5);
  const off = Float64Array.from(changes, (v) => Math.abs(v - middle)).sort();
  // Median absolute deviation to standard deviation of a normal distribution.
  const spread = 1.4826 * percentile(off, 0.5);
  const limit = Math.max(LEAST_CHANGE, LEAST_SPREADS * spread);
  const judged = limit < 1;
  const found = judged
    ? read.flatMap((reading) => {
        const change = reading.change - middle;
        return change > limit ? [{ reading, change, spread }] : [];
      })
    : [];
  return { found, quality: { spread, judged } };
}

interface Found {
  readonly reading: Reading;
  /** Beyond what is usual on the layer. */
  readonly change: number;
  readonly spread: number;
}

/** Probes overlap: those that do and speak of the same nets are one place, as sure as the surest of them. */
function merged(found: readonly Found[]): Found[] {
  const kept: Found[] = [];
  for (const next of found) {
    const { probe } = next.reading;
    const at = kept.findIndex(
      ({ reading: { probe: p } }) => p.nets.join() === probe.nets.join() && boxesMeet(p.box, probe.box),
    );
    if (at < 0) {
      kept.push(next);
      continue;
    }
    const known = kept[at]!;
    const surer = known.change >= next.change ? known : next;
    const box = unionBox(known.reading.probe.box, probe.box);
    kept[at] = { ...surer, reading: { ...surer.reading, probe: { ...probe, box } } };
  }
  return kept;
}

function suggestion(drawn: DrawnNets, { reading, change, spread }: Found, n: number): Finding {
  const { unitUm, layers } = drawn.store;
  const [x0, y0, x1, y1] = reading.probe.box.map((v) => v * unitUm) as [number, number, number, number];
  // Log likelihood of a change of 1 against none, both with the spread of the layer, on top of the prior.
  const odds = Math.exp(Math.min(50, (2 * change - 1) / (2 * spread * spread))) * PRIOR;
  return {
    id: `F${String(n).padStart(4, '0')}`,
    kind: reading.probe.kind,
    layer: layers[reading.probe.layer]!.name,
    centre_um: [(x0 + x1) / 2, (y0 + y1) / 2],
    box_um: [x0, y0, x1, y1],
    area_um2: (x1 - x0) * (y1 - y0),
    probability: odds / (1 + odds),
    nets: reading.probe.nets.map((net) => drawn.nets[net]!.name),
    note: '',
  };
}
