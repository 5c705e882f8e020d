/**
 * The standard cells of the Heron library, of our own drawing: one column is one track (0.48 um), a row is eight
 * tracks high, the ground rail lies on track 0 and the supply rail on track 8. Sources and drains are contacted on
 * odd columns, gates run on even ones.
 */
import { CONTACT_SIZE, DRAWN, RAIL_HALF, ROW, STRIP_HALF, TRACK } from './drawn-layers.ts';
import { addCentred, addRect, type Cell, newCell, place } from './library.ts';

/** A pin and the grid points (column, track), relative to the cell, where a via may land on it. */
export interface Pin {
  readonly name: string;
  readonly direction: 'in' | 'out';
  readonly points: readonly (readonly [number, number])[];
}

export interface StandardCell {
  readonly cell: Cell;
  readonly columns: number;
  readonly pins: readonly Pin[];
}

const N_ACTIVE = [330, 1110] as const;
const P_ACTIVE = [2270, 3510] as const;

const column = (c: number, from: number, to: number): [number, number][] => {
  const points: [number, number][] = [];
  for (let t = from; t <= to; t++) points.push([c, t]);
  return points;
};

function contact(cell: Cell, c: number, ...tracks: number[]): void {
  for (const t of tracks) addCentred(cell, DRAWN.contact, c * TRACK, t * TRACK, CONTACT_SIZE);
}

function strip(cell: Cell, c: number, from: number, to: number): void {
  const x = c * TRACK;
  const [y0, y1] = [from * TRACK - STRIP_HALF, to * TRACK + STRIP_HALF];
  addRect(cell, DRAWN.metal1, x - STRIP_HALF, y0, x + STRIP_HALF, y1);
}

function bar(cell: Cell, t: number, from: number, to: number): void {
  const y = t * TRACK;
  addRect(
    cell,
    DRAWN.metal1,
    from * TRACK - STRIP_HALF,
    y - STRIP_HALF,
    to * TRACK + STRIP_HALF,
    y + STRIP_HALF,
  );
}

/** A gate line with its contact, and the pin strip above it. */
function gate(cell: Cell, c: number, contactTrack: number, from: number, to: number): void {
  addRect(cell, DRAWN.poly, c * TRACK - 100, 200, c * TRACK + 100, ROW - 200);
  addCentred(cell, DRAWN.poly, c * TRACK, contactTrack * TRACK, 300);
  contact(cell, c, contactTrack);
  strip(cell, c, from, to);
}

function ground(cell: Cell, c: number, upTo: 1 | 2): void {
  strip(cell, c, 0, upTo);
  contact(cell, c, ...(upTo === 2 ? [1, 2] : [1]));
}

function supply(cell: Cell, c: number, downTo: 5 | 6): void {
  strip(cell, c, downTo, 8);
  contact(cell, c, ...(downTo === 5 ? [5, 6, 7] : [6, 7]));
}

function frame(name: string, columns: number, actives: readonly (readonly [number, number])[]): Cell {
  const cell = newCell(name);
  const width = columns * TRACK;
  addRect(cell, DRAWN.outline, 0, 0, width, ROW);
  addRect(cell, DRAWN.nwell, 0, ROW / 2, width, ROW);
  addRect(cell, DRAWN.metal1, 0, -RAIL_HALF, width, RAIL_HALF);
  addRect(cell, DRAWN.metal1, 0, ROW - RAIL_HALF, width, ROW + RAIL_HALF);
  for (const [from, to] of actives) {
    const [x0, x1] = [from * TRACK - 190, to * TRACK + 190];
    addRect(cell, DRAWN.active, x0, N_ACTIVE[0], x1, N_ACTIVE[1]);
    addRect(cell, DRAWN.active, x0, P_ACTIVE[0], x1, P_ACTIVE[1]);
  }
  cell.labels.push({ layer: DRAWN.cellName, x: width / 2, y: ROW / 2, text: name });
  return cell;
}

function inverter(): StandardCell {
  const cell = frame('HER_INV', 4, [[1, 3]]);
  ground(cell, 1, 2);
  supply(cell, 1, 5);
  gate(cell, 2, 4, 3, 4);
  strip(cell, 3, 2, 6);
  contact(cell, 3, 2, 5, 6);
  const pins: Pin[] = [
    { name: 'A', direction: 'in', points: column(2, 3, 4) },
    { name: 'Y', direction: 'out', points: column(3, 2, 6) },
  ];
  return { cell, columns: 4, pins };
}

function doubleInverter(): StandardCell {
  const cell = frame('HER_INV2', 6, [[1, 5]]);
  for (const c of [1, 5]) {
    ground(cell, c, 2);
    supply(cell, c, 5);
  }
  gate(cell, 2, 4, 3, 4);
  addRect(cell, DRAWN.poly, 4 * TRACK - 100, 200, 4 * TRACK + 100, ROW - 200);
  addRect(cell, DRAWN.poly, 2 * TRACK, 4 * TRACK - 100, 4 * TRACK, 4 * TRACK + 100);
  strip(cell, 3, 2, 6);
  contact(cell, 3, 2, 5, 6);
  const pins: Pin[] = [
    { name: 'A', direction: 'in', points: column(2, 3, 4) },
    { name: 'Y', direction: 'out', points: column(3, 2, 6) },
  ];
  return { cell, columns: 6, pins };
}

function nand2(): StandardCell {
  const cell = frame('HER_NAND2', 6, [[1, 5]]);
  ground(cell, 1, 2);
  supply(cell, 1, 5);
  supply(cell, 5, 6);
  gate(cell, 2, 4, 3, 4);
  gate(cell, 4, 3, 2, 3);
  strip(cell, 3, 5, 6);
  contact(cell, 3, 5, 6);
  bar(cell, 5, 3, 5);
  strip(cell, 5, 2, 5);
  contact(cell, 5, 2);
  const pins: Pin[] = [
    { name: 'A', direction: 'in', points: column(2, 3, 4) },
    { name: 'B', direction: 'in', points: column(4, 2, 3) },
    { name: 'Y', direction: 'out', points: [...column(5, 2, 5), ...column(3, 5, 6)] },
  ];
  return { cell, columns: 6, pins };
}

function nor2(): StandardCell {
  const cell = frame('HER_NOR2', 6, [[1, 5]]);
  ground(cell, 1, 2);
  ground(cell, 5, 1);
  supply(cell, 1, 5);
  gate(cell, 2, 4, 3, 5);
  gate(cell, 4, 4, 4, 5);
  strip(cell, 3, 2, 3);
  contact(cell, 3, 2);
  bar(cell, 3, 3, 5);
  strip(cell, 5, 3, 6);
  contact(cell, 5, 5, 6);
  const pins: Pin[] = [
    { name: 'A', direction: 'in', points: column(2, 3, 5) },
    { name: 'B', direction: 'in', points: column(4, 4, 5) },
    { name: 'Y', direction: 'out', points: [...column(5, 3, 6), ...column(3, 2, 3)] },
  ];
  return { cell, columns: 6, pins };
}

/** A flop-like cell built out of the gates above, joined by metal1 bars on track 4. */
function register(): StandardCell {
  const cell = newCell('HER_REG');
  place(cell, 'HER_INV', 0, 0);
  place(cell, 'HER_NAND2', 4 * TRACK, 0);
  place(cell, 'HER_NAND2', 10 * TRACK, 0);
  place(cell, 'HER_INV', 16 * TRACK, 0);
  bar(cell, 4, 3, 6);
  bar(cell, 4, 9, 12);
  bar(cell, 4, 15, 18);
  addRect(cell, DRAWN.outline, 0, 0, 20 * TRACK, ROW);
  cell.labels.push({ layer: DRAWN.cellName, x: 10 * TRACK, y: ROW / 2, text: 'HER_REG' });
  const pins: Pin[] = [
    { name: 'D', direction: 'in', points: column(2, 3, 4) },
    { name: 'CK', direction: 'in', points: column(8, 2, 3) },
    { name: 'EN', direction: 'in', points: column(14, 2, 3) },
    { name: 'Q', direction: 'out', points: column(19, 2, 6) },
  ];
  return { cell, columns: 20, pins };
}

function tap(): StandardCell {
  const cell = frame('HER_TAP', 2, []);
  strip(cell, 1, 0, 2);
  contact(cell, 1, 1, 2);
  strip(cell, 1, 6, 8);
  contact(cell, 1, 6, 7);
  addCentred(cell, DRAWN.active, TRACK, 1.5 * TRACK, 400, 780);
  addCentred(cell, DRAWN.active, TRACK, 6.5 * TRACK, 400, 780);
  return { cell, columns: 2, pins: [] };
}

function filler(columns: 1 | 2 | 4): StandardCell {
  return { cell: frame(`HER_FILL${columns}`, columns, []), columns, pins: [] };
}

/** All standard cells by name. */
export function standardCells(): Map<string, StandardCell> {
  const all = [
    inverter(),
    doubleInverter(),
    nand2(),
    nor2(),
    register(),
    tap(),
    filler(1),
    filler(2),
    filler(4),
  ];
  return new Map(all.map((c) => [c.cell.name, c]));
}
