/** Where profiles are laid: across drawn edges whose neighbourhood is straight, parallel and otherwise empty. */
import { type PlateGrid, pixelFromDie } from '../../../shared/frames.ts';
import type { Band } from '../../../shared/profile/band.ts';
import { sampleBand } from '../../../shared/profile/band.ts';
import type { Sampler } from '../../../shared/profile/sampler.ts';
import type { DrawnShapes, Interval } from './drawn-shapes.ts';

/** A path across a drawn edge. Distances along it in pixels from its start. */
export interface Site {
  /** Start in die micrometres and unit direction in the die frame. */
  readonly startUm: readonly [number, number];
  readonly direction: readonly [number, number];
  /** Drawn stretches along the path; the first or last may be cut by its ends. */
  readonly drawnPx: readonly Interval[];
  /** Which of them begins at the edge the path was laid through. */
  readonly own: number;
  readonly lengthPx: number;
  /** Extent across the path over which the drawing stays the same. */
  readonly straightPx: number;
}

export interface SitePlan {
  /** Pixels on either side of the edge that a path looks at. */
  readonly reachPx: number;
  /** Scan lines averaged. */
  readonly linesPx: number;
  /** Beyond the band on either side the drawing must stay the same for so many pixels. */
  readonly marginPx: number;
  readonly most: number;
  readonly mostPerWidth: number;
  readonly seed: number;
  /** Whether the image holds data at a die position. */
  readonly hasData: (xUm: number, yUm: number) => boolean;
}

/** Paths tried for each that is wanted; layouts full of short edges would otherwise take for ever. */
const TRIES = 8;
/** Candidates kept for the draw. */
const CANDIDATES = 400_000;
/** Positions that count as the same, pixels. */
const SAME_PX = 0.02;

/** Draws sites at random over all drawn edges, evenly over the drawn widths. */
export function chooseSites(shapes: DrawnShapes, grid: PlateGrid, plan: SitePlan): Site[] {
  const pixel = grid.pixel_um;
  const band = (plan.linesPx + 2 * plan.marginPx) * pixel;
  const random = seeded(plan.seed);
  const candidates = edgePoints(shapes, grid, band, (plan.linesPx + 2) * pixel, random);
  shuffle(candidates, random);
  const perWidth = new Map<number, number>();
  const laid = new Set<string>();
  const sites: Site[] = [];
  for (const candidate of candidates.slice(0, plan.most * TRIES)) {
    if (sites.length >= plan.most) break;
    const site = siteAt(shapes, grid, candidate, plan);
    if (!site || (isLine(site) && !leads(site.direction))) continue;
    const [ex, ey] = site.direction.map((u, n) => site.startUm[n]! + u * site.lengthPx * pixel);
    if (!plan.hasData(...site.startUm) || !plan.hasData(ex!, ey!)) continue;
    // Shapes drawn twice, or abutting: one path through an edge is enough.
    const place = [...site.startUm, ...site.direction].map((v) => Math.round(v / (0.05 * pixel))).join();
    if (laid.has(place)) continue;
    laid.add(place);
    const key = widthKey(site, pixel);
    const taken = perWidth.get(key) ?? 0;
    if (taken >= plan.mostPerWidth) continue;
    perWidth.set(key, taken + 1);
    sites.push(site);
  }
  return sites;
}

/** Whether both edges of the shape lie on the path; if so it is met from either side, and one direction is chosen. */
export const isLine = (site: Site): boolean => site.drawnPx[site.own]![1] < site.lengthPx - SAME_PX;

const leads = ([x, y]: readonly [number, number]): boolean => x > 1e-9 || (Math.abs(x) <= 1e-9 && y > 0);

/** Drawn width in nanometres; wide shapes share one key. */
function widthKey(site: Site, pixelUm: number): number {
  const [from, to] = site.drawnPx[site.own]!;
  return isLine(site) ? Math.round((to - from) * pixelUm * 1000) : Number.POSITIVE_INFINITY;
}

interface EdgePoint {
  readonly x: number;
  readonly y: number;
  /** Unit normal. */
  readonly nx: number;
  readonly ny: number;
}

function edgePoints(
  shapes: DrawnShapes,
  grid: PlateGrid,
  leastUm: number,
  spacingUm: number,
  random: () => number,
): EdgePoint[] {
  const points: EdgePoint[] = [];
  let met = 0;
  for (const polygon of shapes.polygons) {
    const count = polygon.length >> 1;
    for (let n = 0; n < count; n++) {
      const m = (n + 1) % count;
      const [ax, ay, bx, by] = [polygon[2 * n]!, polygon[2 * n + 1]!, polygon[2 * m]!, polygon[2 * m + 1]!];
      const length = Math.hypot(bx - ax, by - ay);
      if (length < leastUm) continue;
      const places = Math.max(1, Math.floor((length - leastUm) / spacingUm) + 1);
      for (let p = 0; p < places; p++) {
        const share = places === 1 ? 0.5 : (leastUm / 2 + ((length - leastUm) * p) / (places - 1)) / length;
        const [x, y] = [ax + share * (bx - ax), ay + share * (by - ay)];
        const [c, r] = pixelFromDie(grid, x, y);
        if (!(c > 0 && r > 0 && c < grid.width_px - 1 && r < grid.height_px - 1)) continue;
        const point = { x, y, nx: (by - ay) / length, ny: -(bx - ax) / length };
        // Reservoir sampling: every point has the same chance, however many there are.
        met++;
        if (points.length < CANDIDATES) points.push(point);
        else {
          const at = Math.floor(random() * met);
          if (at < CANDIDATES) points[at] = point;
        }
      }
    }
  }
  return points;
}

/** A path through an edge, or null where the drawing is not simple there or the edge is inside a union of shapes. */
function siteAt(shapes: DrawnShapes, grid: PlateGrid, point: EdgePoint, plan: SitePlan): Site | null {
  const pixel = grid.pixel_um;
  const reach = plan.reachPx * pixel;
  const middle = intervals(shapes, point, 0, reach, pixel);
  // Which way is in: the path runs from outside to inside.
  let { nx, ny } = point;
  let drawn = middle;
  let own = drawn.findIndex(([from]) => Math.abs(from - plan.reachPx) < SAME_PX);
  if (own < 0) {
    nx = -nx;
    ny = -ny;
    drawn = intervals(shapes, { ...point, nx, ny }, 0, reach, pixel);
    own = drawn.findIndex(([from]) => Math.abs(from - plan.reachPx) < SAME_PX);
  }
  if (own < 0) return null;
  const turned = { ...point, nx, ny };
  const half = plan.linesPx / 2 + plan.marginPx;
  for (const offset of [-half, half, -half / 2, half / 2])
    if (!same(drawn, intervals(shapes, turned, offset * pixel, reach, pixel))) return null;
  return {
    startUm: [point.x - nx * reach, point.y - ny * reach],
    direction: [nx, ny],
    drawnPx: drawn,
    own,
    lengthPx: 2 * plan.reachPx,
    straightPx: 2 * half,
  };
}

function intervals(
  shapes: DrawnShapes,
  { x, y, nx, ny }: EdgePoint,
  acrossUm: number,
  reachUm: number,
  pixelUm: number,
): Interval[] {
  // Across is the direction turned by a quarter; a path is a hair longer than needed, so that its ends are clear.
  const sx = x - nx * reachUm - ny * acrossUm;
  const sy = y - ny * reachUm + nx * acrossUm;
  return shapes.along(sx, sy, nx, ny, 2 * reachUm).map(([from, to]) => [from / pixelUm, to / pixelUm]);
}

const same = (a: readonly Interval[], b: readonly Interval[]): boolean =>
  a.length === b.length &&
  a.every(([from, to], n) => Math.abs(from - b[n]![0]) < SAME_PX && Math.abs(to - b[n]![1]) < SAME_PX);

/** Scan lines of the portrait along a site. */
export function siteBand(sample: Sampler, grid: PlateGrid, site: Site, linesPx: number): Band {
  const [x, y] = site.startUm;
  const [ux, uy] = site.direction;
  const length = site.lengthPx * grid.pixel_um;
  const from = pixelFromDie(grid, x, y);
  const to = pixelFromDie(grid, x + ux * length, y + uy * length);
  return sampleBand(sample, from, to, linesPx);
}

/** Seeded numbers in [0, 1). @source mulberry32, a public-domain 32-bit generator by T. Ettinger. */
export function seeded(seed: number): () => number {
  let state = seed | 0;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

function shuffle<T>(list: T[], random: () => number): void {
  for (let n = list.length - 1; n > 0; n--) {
    const m = Math.floor(random() * (n + 1));
    [list[n], list[m]] = [list[m]!, list[n]!];
  }
}
