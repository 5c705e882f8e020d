/** Opens out every reference of a layout into rings and labels per drawn layer. */
import { DemoFault } from '../input-fault.ts';
import { type Cell, type Library, type Ring, topCells } from './library.ts';
import { pathOutline } from './path-outline.ts';

export interface FlatLabel {
  readonly layer: string;
  readonly x: number;
  readonly y: number;
  readonly text: string;
  /** References between the top cell and the label. */
  readonly depth: number;
}

/** Coordinates in micrometres. */
export interface FlatLayout {
  readonly rings: Map<string, Ring[]>;
  readonly labels: FlatLabel[];
}

/** x0, y0, x1, y1 in micrometres. */
export type Box = readonly [number, number, number, number];

/** xx, xy, tx, yx, yy, ty. */
type Affine = readonly [number, number, number, number, number, number];

const MAX_DEPTH = 64;
const MAX_COPIES = 5_000_000;

export function ringBox(ring: Ring): [number, number, number, number] {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (let i = 0; i < ring.length; i += 2) {
    const x = ring[i] as number;
    const y = ring[i + 1] as number;
    if (x < x0) x0 = x;
    if (x > x1) x1 = x;
    if (y < y0) y0 = y;
    if (y > y1) y1 = y;
  }
  return [x0, y0, x1, y1];
}

function compose(m: Affine, n: Affine): Affine {
  return [
    m[0] * n[0] + m[1] * n[3],
    m[0] * n[1] + m[1] * n[4],
    m[0] * n[2] + m[1] * n[5] + m[2],
    m[3] * n[0] + m[4] * n[3],
    m[3] * n[1] + m[4] * n[4],
    m[3] * n[2] + m[4] * n[5] + m[5],
  ];
}

/** Cosine and sine, exact for the right angles that nearly all layouts use. */
function unitVector(angleDeg: number): [number, number] {
  const quarter = angleDeg / 90;
  if (Number.isInteger(quarter)) {
    const q = ((quarter % 4) + 4) % 4;
    return [[1, 0, -1, 0][q] as number, [0, 1, 0, -1][q] as number];
  }
  const a = (angleDeg * Math.PI) / 180;
  return [Math.cos(a), Math.sin(a)];
}

function apply(m: Affine, ring: Ring): number[] {
  const out = new Array<number>(ring.length);
  for (let i = 0; i < ring.length; i += 2) {
    const x = ring[i] as number;
    const y = ring[i + 1] as number;
    out[i] = m[0] * x + m[1] * y + m[2];
    out[i + 1] = m[3] * x + m[4] * y + m[5];
  }
  return out;
}

/** The top cell asked for, or the only one there is. */
export function chooseTop(library: Library, file: string, top?: string): string {
  if (top !== undefined) {
    if (library.cells.has(top)) return top;
    throw new DemoFault({ file, expected: `a structure named ${top}`, found: 'none', remedy: 'check --top' });
  }
  const tops = topCells(library);
  if (tops.length === 1) return tops[0] as string;
  throw new DemoFault({
    file,
    expected: 'one structure that nothing refers to',
    found: tops.length === 0 ? 'none' : tops.slice(0, 8).join(', '),
    remedy: 'name one with --top',
  });
}

/**
 * Every shape below `top`, of the drawn layers wanted, whose box meets `window` (all where left out).
 * @throws DemoFault for a reference to nothing, a loop, or an array that would open into too many copies.
 */
export function flatten(
  library: Library,
  top: string,
  file: string,
  wanted?: ReadonlySet<string>,
  window?: Box,
): FlatLayout {
  const rings = new Map<string, Ring[]>();
  const labels: FlatLabel[] = [];
  const unit = library.dbuUm;
  let copies = 0;

  const emit = (layer: string, ring: Ring): void => {
    if (ring.length < 6) return;
    const [x0, y0, x1, y1] = ringBox(ring);
    if (window && (x1 < window[0] || x0 > window[2] || y1 < window[1] || y0 > window[3])) return;
    const list = rings.get(layer);
    if (list) list.push(ring);
    else rings.set(layer, [ring]);
  };

  const visit = (cell: Cell, m: Affine, depth: number): void => {
    if (depth > MAX_DEPTH)
      throw new DemoFault({ file, place: `structure ${cell.name}`, found: 'references in a loop' });
    for (const shape of cell.shapes) {
      if (wanted && !wanted.has(shape.layer)) continue;
      emit(shape.layer, apply(m, shape.kind === 'boundary' ? shape.ring : pathOutline(shape)));
    }
    for (const label of cell.labels) {
      const [x, y] = apply(m, [label.x, label.y]) as [number, number];
      labels.push({ layer: label.layer, x, y, text: label.text, depth });
    }
    for (const ref of cell.references) {
      const child = library.cells.get(ref.cell);
      if (!child)
        throw new DemoFault({
          file,
          place: `structure ${cell.name}`,
          expected: `structure ${ref.cell}`,
          found: 'none of that name',
        });
      copies += ref.columns * ref.rows;
      if (copies > MAX_COPIES)
        throw new DemoFault({ file, expected: `at most ${MAX_COPIES} references`, found: 'more' });
      const [c, s] = unitVector(ref.angleDeg);
      const f = ref.mirror ? -1 : 1;
      for (let row = 0; row < ref.rows; row++) {
        for (let column = 0; column < ref.columns; column++) {
          const x = ref.x + column * ref.columnStep[0] + row * ref.rowStep[0];
          const y = ref.y + column * ref.columnStep[1] + row * ref.rowStep[1];
          visit(
            child,
            compose(m, [ref.mag * c, -f * ref.mag * s, x, ref.mag * s, f * ref.mag * c, y]),
            depth + 1,
          );
        }
      }
    }
  };

  const root = library.cells.get(top);
  if (!root) throw new DemoFault({ file, expected: `structure ${top}`, found: 'none of that name' });
  visit(root, [unit, 0, 0, 0, unit, 0], 0);
  return { rings, labels };
}
