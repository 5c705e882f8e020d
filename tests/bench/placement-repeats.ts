/**
 * Whether another place of a drawing shows the same within the field of a case: then nobody could tell where the scan lies.
 * Plain sums and counted shapes; nothing of the placement takes part.
 */
import { readFileSync } from 'node:fs';
import { parse } from 'yaml';
import { boundsUm, shapesInWindow } from '../../pipeline/formats/layout/flatten.ts';
import { openLayout } from '../../pipeline/formats/layout/registry.ts';
import type { DrawnLayer } from '../../pipeline/formats/layout.ts';
import { renderCoverage } from '../../pipeline/kernels/coverage.ts';
import { type ProcessLayer, processSchema } from '../../shared/artefacts/process.ts';
import { gridBoxUm, type PlateGrid } from '../../shared/frames.ts';
import { generator } from '../fixtures/random.ts';
import { floodFill } from '../oracles/flood-fill.ts';
import type { Case } from './placement-cases.ts';

/** Scans have about as many faults: fewer shapes that differ settle nothing. */
const LEAST_SHAPES = 4;
const COARSE_UM = 0.25;
const FINE_UM = 0.05;
/** A layer counts where the scan covers this share of its thickness. */
const LEAST_COVERED = 0.25;
/** Shapes cut by the border of the field are not counted, micrometres. */
const BORDER_UM = 0.3;
/** Squares of the difference, as a share of the picture's own, from which on a place is looked at finely. */
const LIKE = 0.35;
const MOST_LOOKED_AT = 40;
/** Reach of the fine alignment, fine pixels. */
const ALIGN_PX = 5;
const TURNS = [
  [1, 0, 0, 1],
  [0, -1, 1, 0],
  [-1, 0, 0, -1],
  [0, 1, -1, 0],
  [-1, 0, 0, 1],
  [0, 1, 1, 0],
  [1, 0, 0, -1],
  [0, -1, -1, 0],
] as const;

export interface Twin {
  readonly turn: number;
  readonly stepUm: readonly [number, number];
  /** Shapes that differ within the field. */
  readonly shapes: number;
}

/** Drawn fill shows like any other metal. */
export const showing = ({ drawn, fill = [] }: ProcessLayer): ReadonlySet<DrawnLayer> =>
  new Set([...drawn, ...fill] as DrawnLayer[]);

/** @returns a place that differs in fewer shapes than it takes, and in as few as any where some differ; null where there is none */
export async function twinOf(drawn: Case): Promise<Twin | null> {
  const { layout, top } = await openLayout(drawn.layoutFile, {});
  const process = processSchema.parse(parse(readFileSync(drawn.processFile, 'utf8')));
  const layers = process.layers.filter(({ name, bottom_um: bottom, thickness_um: thickness }) => {
    const inScan = Math.min(drawn.depthUm[1], bottom + thickness) - Math.max(drawn.depthUm[0], bottom);
    // Polysilicon hardly shows.
    return inScan > LEAST_COVERED * thickness && !/poly/.test(name);
  });
  const render = (grid: PlateGrid): Float32Array[] =>
    layers.map((layer) =>
      renderCoverage(
        [...shapesInWindow(layout, top, gridBoxUm(grid), showing(layer))].map((shape) => shape.xyUm),
        grid,
      ),
    );
  const [x0, y0, x1, y1] = drawn.windowUm;
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2] as const;
  const half = Math.hypot(x1 - x0, y1 - y0) / 2;
  const inField = (u: number, v: number): boolean => {
    const a = (drawn.rotationDeg * Math.PI) / 180;
    const [p, q] = [u * Math.cos(a) + v * Math.sin(a), v * Math.cos(a) - u * Math.sin(a)];
    const [w, h] = [(x1 - x0) / 2 - BORDER_UM, (y1 - y0) / 2 - BORDER_UM];
    return drawn.circular ? (p / w) ** 2 + (q / h) ** 2 < 1 : Math.abs(p) < w && Math.abs(q) < h;
  };
  const square = (x: number, y: number, pixel: number, side: number): PlateGrid => ({
    origin_um: [x - side * pixel, y + side * pixel],
    ...{ pixel_um: pixel, width_px: 2 * side + 1, height_px: 2 * side + 1 },
  });
  const candidates = coarsePlaces();
  const side = Math.ceil(half / FINE_UM) + ALIGN_PX;
  const own = render(square(...middle, FINE_UM, side));
  let best: Twin | null = null;
  for (const { turn, x, y } of candidates) {
    const shapes = differing(own, render(square(x, y, FINE_UM, side)), turn);
    if (shapes < LEAST_SHAPES && (!best || shapes < best.shapes))
      best = { turn, stepUm: [x - middle[0], y - middle[1]], shapes };
    if (best?.shapes === 0) break;
  }
  return best;

  /** Places whose blurred drawing is like the field's, likest first, each once. */
  function coarsePlaces(): { turn: number; x: number; y: number }[] {
    const [bx0, by0, bx1, by1] = boundsUm(layout, top)!;
    const grid: PlateGrid = {
      origin_um: [middle[0] - COARSE_UM * Math.ceil((middle[0] - bx0 + half) / COARSE_UM), 0],
      ...{ pixel_um: COARSE_UM, width_px: 0, height_px: 0 },
    };
    const above = Math.ceil((by1 + half - middle[1]) / COARSE_UM);
    const whole: PlateGrid = {
      origin_um: [grid.origin_um[0], middle[1] + COARSE_UM * above],
      pixel_um: COARSE_UM,
      width_px: Math.ceil((bx1 + half - grid.origin_um[0]) / COARSE_UM) + 1,
      height_px: above + Math.ceil((middle[1] - by0 + half) / COARSE_UM) + 1,
    };
    const { width_px: width, height_px: height } = whole;
    // Layers with weights of their own, so that one cannot stand for another.
    const mixed = new Float32Array(width * height);
    render(whole).forEach((raster, n) => {
      const spread = Math.sqrt(raster.reduce((s, v) => s + v * v, 0) / raster.length) || 1;
      const weight = (n % 2 ? -1 : 1) * (1 + 0.2 * n);
      raster.forEach((v, p) => {
        mixed[p]! += (weight * v) / spread;
      });
    });
    const blurred = binomial(binomial(mixed, width, height), width, height);
    const [c0, r0] = [Math.round((middle[0] - whole.origin_um[0]) / COARSE_UM), above];
    const reach = Math.ceil(half / COARSE_UM);
    const points: { u: number; v: number; value: number }[] = [];
    for (let v = -reach; v <= reach; v++)
      for (let u = -reach; u <= reach; u++)
        if (inField(u * COARSE_UM, v * COARSE_UM))
          points.push({ u, v, value: blurred[(r0 - v) * width + c0 + u]! });
    const mean = points.reduce((s, p) => s + p.value, 0) / points.length;
    const most = LIKE * points.reduce((s, p) => s + (p.value - mean) ** 2, 0);
    // In a shuffled order unlike places are left early.
    const random = generator(drawn.seed);
    for (let n = points.length - 1; n > 0; n--) {
      const m = Math.floor(random() * (n + 1));
      [points[n], points[m]] = [points[m]!, points[n]!];
    }
    const found: { turn: number; column: number; row: number; squares: number }[] = [];
    TURNS.forEach(([a, b, c, d], turn) => {
      const at = points.map(({ u, v }) => -(c * u + d * v) * width + a * u + b * v);
      for (let row = reach; row < height - reach; row++)
        for (let column = reach; column < width - reach; column++) {
          if (turn === 0 && Math.hypot(column - c0, row - r0) < 1.5) continue;
          const base = row * width + column;
          let squares = 0;
          for (let n = 0; n < points.length && squares <= most; n++)
            squares += (points[n]!.value - blurred[base + at[n]!]!) ** 2;
          if (squares <= most) found.push({ turn, column, row, squares });
        }
    });
    found.sort((p, q) => p.squares - q.squares);
    const kept: typeof found = [];
    for (const place of found) {
      if (kept.length >= MOST_LOOKED_AT) break;
      const near = (k: (typeof found)[number]): boolean =>
        k.turn === place.turn && Math.hypot(k.column - place.column, k.row - place.row) < 1.5;
      if (!kept.some(near)) kept.push(place);
    }
    return kept.map(({ turn, column, row }) => ({
      turn,
      x: whole.origin_um[0] + column * COARSE_UM,
      y: whole.origin_um[1] - row * COARSE_UM,
    }));
  }

  /** Shapes at least half a smallest feature wide both ways that only one of two places has, at the shift that leaves the fewest pixels. */
  function differing(here: readonly Float32Array[], there: readonly Float32Array[], turn: number): number {
    const width = 2 * side + 1;
    const [a, b, c, d] = TURNS[turn]!;
    const field: { p: number; at: number }[] = [];
    const inner = side - ALIGN_PX;
    for (let v = -inner; v <= inner; v++)
      for (let u = -inner; u <= inner; u++)
        if (inField(u * FINE_UM, v * FINE_UM))
          field.push({
            p: (side - v) * width + side + u,
            at: (side - (c * u + d * v)) * width + side + a * u + b * v,
          });
    let best = { away: 0, off: Infinity };
    for (let v = -ALIGN_PX; v <= ALIGN_PX; v++)
      for (let u = -ALIGN_PX; u <= ALIGN_PX; u++) {
        const away = v * width + u;
        let off = 0;
        for (let n = 0; n < field.length && off < best.off; n += 5)
          for (let l = 0; l < here.length; l++)
            off += Math.abs(here[l]![field[n]!.p]! - there[l]![field[n]!.at + away]!);
        if (off < best.off) best = { away, off };
      }
    const least = (drawn.voxelNm / 1000 / FINE_UM) ** 2 * 4;
    let shapes = 0;
    for (let l = 0; l < here.length; l++)
      for (const sign of [1, -1]) {
        const mask = new Uint8Array(width * width);
        for (const { p, at } of field)
          if (sign * (here[l]![p]! - there[l]![at + best.away]!) > 0.5) mask[p] = 1;
        const areas = new Map<number, number>();
        for (const label of floodFill(mask, width, width, 4))
          if (label > 0) areas.set(label, (areas.get(label) ?? 0) + 1);
        shapes += [...areas.values()].filter((area) => area >= least).length;
      }
    return shapes;
  }
}

function binomial(values: Float32Array, width: number, height: number): Float32Array {
  const out = new Float32Array(values.length);
  for (let row = 1; row < height - 1; row++)
    for (let column = 1; column < width - 1; column++) {
      let sum = 0;
      for (let v = -1; v <= 1; v++)
        for (let u = -1; u <= 1; u++)
          sum += (2 - Math.abs(u)) * (2 - Math.abs(v)) * values[(row + v) * width + column + u]!;
      out[row * width + column] = sum / 16;
    }
  return out;
}
