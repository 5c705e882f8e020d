/** Turns routes into drawn wires and vias: one shape per straight run, a via cell at every change of layer. */
import { DRAWN, LABEL, TRACK, VIA_SIZE, WIRE_WIDTH } from './drawn-layers.ts';
import { addCentred, type Cell, newCell, place } from './library.ts';
import { type Metal, nodePlace, type Route, type RoutingGrid } from './router.ts';

const METAL_LAYER: Readonly<Record<Metal, string>> = { 2: DRAWN.metal2, 3: DRAWN.metal3, 4: DRAWN.metal4 };
const METAL_LABEL: Readonly<Record<Metal, string>> = { 2: LABEL.metal2, 3: LABEL.metal3, 4: LABEL.metal4 };

/** The cut with its landing pads, from metal `n` to metal `n + 1`. */
export function viaCells(): Cell[] {
  const table: [string, string, number, [string, number], [string, number]][] = [
    ['HER_VIA1', DRAWN.via1, VIA_SIZE, [DRAWN.metal1, 280], [DRAWN.metal2, 240]],
    ['HER_VIA2', DRAWN.via2, VIA_SIZE, [DRAWN.metal2, 240], [DRAWN.metal3, 240]],
    ['HER_VIA3', DRAWN.via3, VIA_SIZE, [DRAWN.metal3, 240], [DRAWN.metal4, 320]],
    ['HER_VIA4', DRAWN.via4, 400, [DRAWN.metal4, 480], [DRAWN.metal5, 600]],
  ];
  return table.map(([name, cut, size, below, above]) => {
    const cell = newCell(name);
    addCentred(cell, cut, 0, 0, size);
    for (const [layer, width] of [below, above]) addCentred(cell, layer, 0, 0, width);
    return cell;
  });
}

interface Run {
  readonly metal: Metal;
  readonly track: number;
  readonly from: number;
  readonly to: number;
}

/** Longest straight runs of a route, from its edges. */
function straightRuns(grid: RoutingGrid, route: Route): Run[] {
  const steps = new Map<string, { metal: Metal; track: number; at: Set<number> }>();
  for (const [a, b] of route.edges) {
    const p = nodePlace(grid, a);
    const q = nodePlace(grid, b);
    if (p.metal !== q.metal) continue;
    const [track, low] = p.metal === 3 ? [p.y, Math.min(p.x, q.x)] : [p.x, Math.min(p.y, q.y)];
    const key = `${p.metal}:${track}`;
    const entry = steps.get(key) ?? { metal: p.metal, track, at: new Set<number>() };
    entry.at.add(low);
    steps.set(key, entry);
  }
  const runs: Run[] = [];
  for (const { metal, track, at } of steps.values()) {
    let from: number | null = null;
    let previous = 0;
    for (const low of [...at].sort((a, b) => a - b)) {
      if (from !== null && low !== previous + 1) {
        runs.push({ metal, track, from, to: previous + 1 });
        from = low;
      }
      from ??= low;
      previous = low;
    }
    if (from !== null) runs.push({ metal, track, from, to: previous + 1 });
  }
  return runs;
}

/** Draws one net into `cell`; as PATH elements where asked, which gives the same metal. */
export function drawRoute(cell: Cell, grid: RoutingGrid, route: Route, asPath: boolean): void {
  const runs = straightRuns(grid, route);
  for (const run of runs) {
    const width = WIRE_WIDTH[run.metal];
    const [a, b, t] = [run.from * TRACK, run.to * TRACK, run.track * TRACK];
    const line = run.metal === 3 ? [a, t, b, t] : [t, a, t, b];
    if (asPath) {
      cell.shapes.push({ kind: 'path', layer: METAL_LAYER[run.metal], line, width, ends: 2 });
      continue;
    }
    const [x0, y0, x1, y1] = line as [number, number, number, number];
    const h = width / 2;
    const ring = [x0 - h, y0 - h, x1 + h, y0 - h, x1 + h, y1 + h, x0 - h, y1 + h];
    cell.shapes.push({ kind: 'boundary', layer: METAL_LAYER[run.metal], ring });
  }
  const vias = new Set<string>();
  const via = (lower: number, x: number, y: number): void => {
    const key = `${lower}:${x}:${y}`;
    if (vias.has(key)) return;
    vias.add(key);
    place(cell, `HER_VIA${lower}`, x * TRACK, y * TRACK);
  };
  for (const [a, b] of route.edges) {
    const p = nodePlace(grid, a);
    const q = nodePlace(grid, b);
    if (p.metal !== q.metal) via(Math.min(p.metal, q.metal), p.x, p.y);
  }
  for (const node of route.pinNodes) {
    const p = nodePlace(grid, node);
    via(1, p.x, p.y);
  }
  const longest = [...runs].sort((r, s) => s.to - s.from - (r.to - r.from))[0];
  if (longest) {
    const along = ((longest.from + longest.to) / 2) * TRACK;
    const across = longest.track * TRACK;
    const [x, y] = longest.metal === 3 ? [along, across] : [across, along];
    cell.labels.push({ layer: METAL_LABEL[longest.metal], x, y, text: route.net });
  } else {
    const p = nodePlace(grid, route.pinNodes[0] as number);
    cell.labels.push({ layer: LABEL.metal2, x: p.x * TRACK, y: p.y * TRACK, text: route.net });
  }
}
