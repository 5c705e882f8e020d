/** The drawing of each layer as rasters: its coverage, and how much of every pixel an edge that moves would sweep. */
import type { Process, ProcessLayer } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { type Box, signedArea } from '../../../shared/polygon.ts';
import { shapesInWindow } from '../../formats/layout/flatten.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { renderCoverage } from '../../kernels/coverage.ts';

export interface DrawnShape {
  readonly xyUm: Float64Array;
  readonly boxUm: Box;
}

export interface LayerShapes {
  readonly layer: ProcessLayer;
  readonly shapes: readonly DrawnShape[];
  /** Shapes of the drawn layers that hold fill. */
  readonly fill: readonly DrawnShape[];
}

/** What all fabricated edges of a layer have in common. */
export interface LayerBias {
  /** Every edge stands this far outside the drawn one. */
  readonly wideningUm: number;
  /** The image lies this far from the drawing. */
  readonly shiftUm: readonly [number, number];
}

export const NO_BIAS: LayerBias = { wideningUm: 0, shiftUm: [0, 0] };

/** Step by which edges are moved out to see what they sweep, in pixels. */
const SWEEP_PX = 0.25;

export function readShapes(layout: Layout, top: string, process: Process, windowUm: Box): LayerShapes[] {
  return process.layers.map((layer) => ({
    layer,
    shapes: shapesOf(layout, top, windowUm, layer.drawn),
    fill: shapesOf(layout, top, windowUm, layer.fill ?? []),
  }));
}

function shapesOf(layout: Layout, top: string, windowUm: Box, drawn: readonly string[]): DrawnShape[] {
  if (drawn.length === 0) return [];
  const found: DrawnShape[] = [];
  for (const { xyUm, boxUm } of shapesInWindow(layout, top, windowUm, new Set(drawn as DrawnLayer[])))
    found.push({ xyUm, boxUm });
  return found;
}

export interface DrawnRasters {
  /** Coverage by drawn shapes as the layer's bias has them, 0 to 1. */
  readonly drawn: Float32Array;
  /** Coverage by drawn shapes and fill. */
  readonly known: Float32Array;
  /** Area that the edges of `known` would sweep per pixel of outward movement. */
  readonly edges: Float32Array;
}

export interface DrawTask {
  readonly shapes: readonly DrawnShape[];
  readonly fill: readonly DrawnShape[];
  readonly grid: PlateGrid;
  readonly bias: LayerBias;
  /** Written over; `known` is `drawn`, or not looked at, where there is no fill. */
  readonly rasters: DrawnRasters;
}

/** Coverage of shapes that were fabricated with a bias. */
export function draw({ shapes, fill, grid, bias, rasters }: DrawTask): void {
  // Moving the grid the other way is moving the shapes.
  const moved: PlateGrid = {
    ...grid,
    origin_um: [grid.origin_um[0] - bias.shiftUm[0], grid.origin_um[1] - bias.shiftUm[1]],
  };
  const own = widened(shapes, moved, bias.wideningUm);
  rasters.drawn.set(own.coverage);
  rasters.edges.set(own.edges);
  if (fill.length === 0) return;
  const all = widened([...shapes, ...fill], moved, bias.wideningUm);
  rasters.known.set(all.coverage);
  rasters.edges.set(all.edges);
}

/**
 * Coverage after a small widening, to first order in it: what the edges sweep times how far they go. To first order
 * because shapes that abut would part if each of them were shrunk by itself.
 */
function widened(
  shapes: readonly DrawnShape[],
  grid: PlateGrid,
  wideningUm: number,
): { coverage: Float32Array; edges: Float32Array } {
  const step = SWEEP_PX * grid.pixel_um;
  const coverage = renderCoverage(
    shapes.map((s) => s.xyUm),
    grid,
  );
  const edges = renderCoverage(
    shapes.map((s) => movedOut(s.xyUm, step)),
    grid,
  );
  const by = wideningUm / grid.pixel_um;
  for (let n = 0; n < edges.length; n++) {
    const swept = (edges[n]! - coverage[n]!) / SWEEP_PX;
    edges[n] = swept;
    if (by !== 0) coverage[n] = Math.min(1, Math.max(0, coverage[n]! + by * swept));
  }
  return { coverage, edges };
}

/** Longest mitre, as a multiple of the distance. */
const MITRE_LIMIT = 3;

/** Outline with every edge moved out by a distance, corners mitred. */
export function movedOut(xy: ArrayLike<number>, distance: number): Float64Array {
  const points: number[] = [];
  const count = xy.length >> 1;
  for (let n = 0; n < count; n++) {
    const [x, y] = [xy[2 * n]!, xy[2 * n + 1]!];
    const last = points.length - 2;
    if (points.length === 0 || points[last] !== x || points[last + 1] !== y) points.push(x, y);
  }
  while (points.length > 2 && points[0] === points.at(-2) && points[1] === points.at(-1)) points.length -= 2;
  const corners = points.length >> 1;
  if (corners < 3) return Float64Array.from(points);
  const side = signedArea(points) >= 0 ? distance : -distance;
  const out = new Float64Array(points.length);
  for (let n = 0; n < corners; n++) {
    const p = 2 * ((n + corners - 1) % corners);
    const q = 2 * n;
    const r = 2 * ((n + 1) % corners);
    const [ax, ay] = unit(points[q]! - points[p]!, points[q + 1]! - points[p + 1]!);
    const [bx, by] = unit(points[r]! - points[q]!, points[r + 1]! - points[q + 1]!);
    // Outward normals of the two edges, right of the direction of travel for counter-clockwise outlines.
    const half = 1 + ax * bx + ay * by;
    const scale = half > 2 / MITRE_LIMIT ** 2 ? side / half : (side * MITRE_LIMIT ** 2) / 2;
    out[q] = points[q]! + (ay + by) * scale;
    out[q + 1] = points[q + 1]! - (ax + bx) * scale;
  }
  return out;
}

function unit(x: number, y: number): [number, number] {
  const length = Math.hypot(x, y);
  return length > 0 ? [x / length, y / length] : [0, 0];
}
