/**
 * A layout in memory: cells with shapes, labels and references, in database units (integers).
 * Drawn layers are written `layer/datatype`.
 */

/** A closed ring without the repeated last point: x0, y0, x1, y1 ... */
export type Ring = readonly number[];

export interface Boundary {
  readonly kind: 'boundary';
  readonly layer: string;
  readonly ring: Ring;
}

/** 0 flush, 1 round, 2 extended by half the width, 4 extended by `begin` and `end`. */
export type PathEnds = 0 | 1 | 2 | 4;

export interface Path {
  readonly kind: 'path';
  readonly layer: string;
  readonly line: readonly number[];
  readonly width: number;
  readonly ends: PathEnds;
  readonly begin?: number;
  readonly end?: number;
}

export type Shape = Boundary | Path;

export interface Label {
  readonly layer: string;
  readonly x: number;
  readonly y: number;
  readonly text: string;
}

/** p' = R(angleDeg) mag F p + (x, y), F flips y; an array repeats it by the two steps, which are not transformed. */
export interface Reference {
  readonly cell: string;
  readonly x: number;
  readonly y: number;
  readonly mirror: boolean;
  readonly angleDeg: number;
  readonly mag: number;
  readonly columns: number;
  readonly rows: number;
  readonly columnStep: readonly [number, number];
  readonly rowStep: readonly [number, number];
}

export interface Cell {
  readonly name: string;
  readonly shapes: Shape[];
  readonly labels: Label[];
  readonly references: Reference[];
}

export interface Library {
  readonly name: string;
  /** Size of a database unit in micrometres. */
  readonly dbuUm: number;
  readonly cells: Map<string, Cell>;
}

export function newCell(name: string): Cell {
  return { name, shapes: [], labels: [], references: [] };
}

export function addRect(cell: Cell, layer: string, x0: number, y0: number, x1: number, y1: number): void {
  cell.shapes.push({ kind: 'boundary', layer, ring: [x0, y0, x1, y0, x1, y1, x0, y1] });
}

/** A square or rectangle about a centre. */
export function addCentred(cell: Cell, layer: string, x: number, y: number, w: number, h = w): void {
  addRect(cell, layer, x - w / 2, y - h / 2, x + w / 2, y + h / 2);
}

/** Places one copy of a cell. */
export function place(into: Cell, cell: string, x: number, y: number, mirror = false, angleDeg = 0): void {
  const single = { columns: 1, rows: 1, columnStep: [0, 0], rowStep: [0, 0] } as const;
  into.references.push({ cell, x, y, mirror, angleDeg, mag: 1, ...single });
}

/** Places a regular array of copies. */
export function placeArray(
  into: Cell,
  cell: string,
  at: readonly [number, number],
  count: readonly [number, number],
  step: readonly [number, number],
): void {
  into.references.push({
    cell,
    x: at[0],
    y: at[1],
    mirror: false,
    angleDeg: 0,
    mag: 1,
    columns: count[0],
    rows: count[1],
    columnStep: [step[0], 0],
    rowStep: [0, step[1]],
  });
}

/** The cells that no other cell refers to. */
export function topCells(library: Library): string[] {
  const used = new Set<string>();
  for (const cell of library.cells.values()) for (const ref of cell.references) used.add(ref.cell);
  return [...library.cells.keys()].filter((name) => !used.has(name));
}

/** The cells below `top` (itself among them), in the order given: unused ones are not written to a file. */
export function reachable(cells: readonly Cell[], top: string): Map<string, Cell> {
  const byName = new Map(cells.map((cell) => [cell.name, cell]));
  const wanted = new Set<string>();
  const visit = (name: string): void => {
    if (wanted.has(name)) return;
    wanted.add(name);
    for (const ref of byName.get(name)?.references ?? []) visit(ref.cell);
  };
  visit(top);
  return new Map(cells.filter((cell) => wanted.has(cell.name)).map((cell) => [cell.name, cell]));
}
