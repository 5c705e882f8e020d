/** Supply straps on metal4 and metal5, their via stacks and arrays, the wide wires and the pad of the top metal. */
import { DRAWN, LABEL, ROW_TRACKS, TRACK, VIA_SIZE } from './drawn-layers.ts';
import { CORE, DIE_TRACKS, MEMORY, railNet } from './floorplan.ts';
import { addCentred, addRect, type Cell, newCell, place, placeArray } from './library.ts';
import { MEMORY_TRACKS } from './memory.ts';
import { PAD_TERMINAL, TOP_TERMINALS } from './netlist.ts';
import { type Metal, nodeIndex, type RoutingGrid } from './router.ts';

type Supply = 'VSS' | 'VDD';

interface Strap {
  readonly net: Supply;
  /** Track of the centre line. */
  readonly track: number;
  readonly from: number;
  readonly to: number;
}

const ENDS_Y = [CORE.y - 1, CORE.y + CORE.rows * ROW_TRACKS + 1] as const;

export const METAL4_STRAPS: readonly Strap[] = [
  { net: 'VDD', track: 16, from: ENDS_Y[0], to: ENDS_Y[1] },
  { net: 'VSS', track: 20, from: ENDS_Y[0], to: ENDS_Y[1] },
  { net: 'VDD', track: 36, from: ENDS_Y[0], to: ENDS_Y[1] },
  { net: 'VSS', track: 40, from: ENDS_Y[0], to: ENDS_Y[1] },
  { net: 'VDD', track: 54, from: ENDS_Y[0], to: ENDS_Y[1] },
  { net: 'VSS', track: 58, from: ENDS_Y[0], to: ENDS_Y[1] },
];
export const METAL5_STRAPS: readonly Strap[] = [
  { net: 'VSS', track: 11, from: 3, to: 68 },
  { net: 'VDD', track: 20, from: 3, to: 68 },
  { net: 'VSS', track: 39, from: 3, to: 68 },
  { net: 'VDD', track: 48, from: 3, to: 38 },
];
const STRAP4_HALF = 720;
const STRAP5_HALF = 1200;
const WIDE_HALF = 300;
/** The pad of the top metal in nanometres. */
const PAD = [18960, 20880, 26880, 26640] as const;

/** Straight down from metal4 to a rail: two cuts side by side on each level. */
function stackCell(): Cell[] {
  const cuts = ([DRAWN.via1, DRAWN.via2, DRAWN.via3] as const).map((layer, i) => {
    const cut = newCell(`HER_CUT${i + 1}`);
    addCentred(cut, layer, 0, 0, VIA_SIZE);
    return cut;
  });
  const top = newCell('HER_CUT4');
  addCentred(top, DRAWN.via4, 0, 0, 400);
  const stack = newCell('HER_STACK');
  addCentred(stack, DRAWN.metal2, 0, 0, 720, 280);
  addCentred(stack, DRAWN.metal3, 0, 0, 720, 280);
  for (const cut of cuts) placeArray(stack, cut.name, [-TRACK / 2, 0], [2, 1], [TRACK, TRACK]);
  return [...cuts, top, stack];
}

const meetsRail = (strap: Strap, rail: number): boolean => {
  if (railNet(rail) !== strap.net) return false;
  const column = strap.track - CORE.x;
  const inStore = column >= MEMORY.column - 1 && column <= MEMORY.column + MEMORY_TRACKS;
  return !(inStore && rail === MEMORY.row + 1);
};

/** Draws all of it into `cell` and blocks the grid points it takes. Returns the cells it refers to. */
export function drawPower(cell: Cell, grid: RoutingGrid): Cell[] {
  const block = (metal: Metal, x: number, y: number): void => {
    if (x >= 0 && y >= 0 && x < grid.nx && y < grid.ny) grid.blocked[nodeIndex(grid, metal, x, y)] = 1;
  };
  for (const strap of METAL4_STRAPS) {
    const x = strap.track * TRACK;
    addRect(cell, DRAWN.metal4, x - STRAP4_HALF, strap.from * TRACK, x + STRAP4_HALF, strap.to * TRACK);
    cell.labels.push({ layer: LABEL.metal4, x, y: (strap.from + 0.5) * TRACK, text: strap.net });
    for (let y = strap.from - 1; y <= strap.to + 1; y++)
      for (let x0 = -2; x0 <= 2; x0++) block(4, strap.track + x0, y);
    for (let rail = 0; rail <= CORE.rows; rail++) {
      if (!meetsRail(strap, rail)) continue;
      const y = CORE.y + rail * ROW_TRACKS;
      place(cell, 'HER_STACK', x, y * TRACK);
      for (const metal of [2, 3] as const)
        for (let dx = -1; dx <= 1; dx++)
          for (let dy = -1; dy <= 1; dy++) block(metal, strap.track + dx, y + dy);
    }
  }
  for (const strap of METAL5_STRAPS) {
    const y = strap.track * TRACK;
    addRect(cell, DRAWN.metal5, strap.from * TRACK, y - STRAP5_HALF, strap.to * TRACK, y + STRAP5_HALF);
    cell.labels.push({ layer: LABEL.metal5, x: (strap.from + 1) * TRACK, y, text: strap.net });
    for (const below of METAL4_STRAPS)
      if (below.net === strap.net && below.track < strap.to)
        placeArray(cell, 'HER_CUT4', [below.track * TRACK - 400, y - 800], [2, 3], [800, 800]);
  }
  for (const { net, at } of TOP_TERMINALS) {
    const [x, y] = [at[0] * TRACK, at[1] * TRACK];
    place(cell, 'HER_VIA4', x, y);
    const right = (DIE_TRACKS.x - 1) * TRACK;
    addRect(cell, DRAWN.metal5, x - WIDE_HALF, y - WIDE_HALF, right, y + WIDE_HALF);
    cell.labels.push({ layer: LABEL.metal5, x: x + 2 * TRACK, y, text: net });
  }
  const [x0, y0, x1, y1] = PAD;
  // The pad is a polygon with a cut corner, as probes like to have a mark of orientation.
  const ring = [x0, y0, x1, y0, x1, y1 - 960, x1 - 960, y1, x0, y1];
  cell.shapes.push({ kind: 'boundary', layer: DRAWN.metal5, ring });
  cell.labels.push({ layer: LABEL.metal5, x: (x0 + x1) / 2, y: (y0 + y1) / 2, text: PAD_TERMINAL.net });
  place(cell, 'HER_VIA4', PAD_TERMINAL.at[0] * TRACK, PAD_TERMINAL.at[1] * TRACK);
  return stackCell();
}
