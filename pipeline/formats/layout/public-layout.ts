/**
 * A layout without what may not be published. What is withheld is not marked or covered: it is not there, so that no
 * later step can let it out. Cells that reach into a withheld region are opened out into the top cell and cut at it.
 */
import { type Affine2, IDENTITY2 } from '../../../shared/affine.ts';
import { type Box, boxesMeet, isEmptyBox, polygonBox, unionBox } from '../../../shared/polygon.ts';
import type { DrawnLayer, Layout, LayoutCell, ReferenceBlock } from '../layout.ts';
import { CellBuilder } from './cell-builder.ts';
import { latticeBox } from './lattice.ts';
import { indexOf, type LayoutIndex } from './layout-index.ts';
import { latticeAt } from './reference-boxes.ts';
import { ReferenceBuilder } from './reference-builder.ts';
import { ringOutsideBox } from './ring-cut.ts';
import { emptyOutline, type Outline } from './shape-set.ts';
import { composeAt, transformBox } from './transform-box.ts';

export interface LayoutWithholding {
  readonly drawn: ReadonlySet<string>;
  /** Names of cells that are not shown, with all that they hold. The top cell is none of them. */
  readonly cells: ReadonlySet<string>;
  /** In die micrometres. */
  readonly regionsUm: readonly Box[];
}

/** @throws RangeError when the layout has no cell `top` */
export function publicLayout(layout: Layout, top: string, withheld: LayoutWithholding): Layout {
  const shown = withoutLayersAndCells(layout, top, withheld);
  if (withheld.regionsUm.length === 0) return shown;
  const regions = withheld.regionsUm.map((box): Box => {
    const [x0, y0, x1, y1] = indexOf(shown).scale.boxToDbu(box);
    return [Math.floor(x0 + SLACK), Math.floor(y0 + SLACK), Math.ceil(x1 - SLACK), Math.ceil(y1 - SLACK)];
  });
  const cells = new Map(shown.cells);
  cells.set(top, new RegionCutter(indexOf(shown), regions).cut(top));
  return reachable({ ...shown, cells }, top);
}

/** Boxes of micrometres are rounded outwards, but not for the last digit of a division. */
const SLACK = 1e-3;

function withoutLayersAndCells(layout: Layout, top: string, withheld: LayoutWithholding): Layout {
  const cells = new Map<string, LayoutCell>();
  const without = <T>(map: ReadonlyMap<DrawnLayer, T>): ReadonlyMap<DrawnLayer, T> =>
    [...map.keys()].some((drawn) => withheld.drawn.has(drawn))
      ? new Map([...map].filter(([drawn]) => !withheld.drawn.has(drawn)))
      : map;
  for (const [name, cell] of layout.cells) {
    if (withheld.cells.has(name)) continue;
    cells.set(name, {
      name,
      polygons: without(cell.polygons),
      paths: without(cell.paths),
      arrays: without(cell.arrays),
      references: shownReferences(cell.references, withheld.cells),
      labels: cell.labels.some((label) => withheld.drawn.has(label.drawn))
        ? cell.labels.filter((label) => !withheld.drawn.has(label.drawn))
        : cell.labels,
    });
  }
  return reachable({ ...layout, cells }, top);
}

function shownReferences(block: ReferenceBlock, hidden: ReadonlySet<string>): ReferenceBlock {
  if (!block.targets.some((name) => hidden.has(name))) return block;
  const builder = new ReferenceBuilder();
  for (let n = 0; n < block.count; n++) {
    const target = block.targets[block.target[n]!]!;
    if (hidden.has(target)) continue;
    const [a, b, tx, c, d, ty] = block.transforms.subarray(6 * n, 6 * n + 6) as unknown as Affine2;
    const { columns, rows, ux, uy, vx, vy } = latticeAt(block, n);
    builder.add(target, [a, b, tx, c, d, ty], block.magnifications[n]!, columns, rows, [ux, uy, vx, vy]);
  }
  return builder.take();
}

/** Only what the top cell still leads to: a cell that is used nowhere would publish its name for nothing. */
function reachable(layout: Layout, top: string): Layout {
  const kept = new Set([top]);
  for (const name of kept) for (const target of layout.cells.get(name)!.references.targets) kept.add(target);
  return {
    ...layout,
    cells: new Map([...layout.cells].filter(([name]) => kept.has(name))),
    topCells: [top],
  };
}

/** Opens out whatever reaches into a region, from the top cell down, and keeps all else as it is. */
class RegionCutter {
  readonly #index: LayoutIndex;
  readonly #regions: readonly Box[];
  readonly #builder = new CellBuilder();

  constructor(index: LayoutIndex, regions: readonly Box[]) {
    this.#index = index;
    this.#regions = regions;
  }

  cut(top: string): LayoutCell {
    this.#open(this.#index.numberOf(top), IDENTITY2, 1);
    return this.#builder.take(top);
  }

  #open(number: number, transform: Affine2, magnification: number): void {
    const cell = this.#index.cells[number]!;
    const { shapes, arrays } = this.#index.geometry(number, magnification);
    const outline = emptyOutline();
    for (const [drawn, set] of shapes) {
      for (let n = 0; n < set.count; n++) {
        set.locate(n, outline);
        this.#addShape(drawn, outline, transform);
      }
    }
    for (const [drawn, set] of arrays) {
      for (const _ of set.membersIn(set.box, outline)) this.#addShape(drawn, outline, transform);
    }
    for (const { text, drawn, xDbu, yDbu } of cell.labels) {
      const [x, y] = transformBox(transform, [xDbu, yDbu, xDbu, yDbu]);
      if (this.#regions.some((region) => boxesMeet(region, [x, y, x, y]))) continue;
      const [layer, texttype] = drawn.split('/').map(Number) as [number, number];
      this.#builder.addLabel(text, layer, texttype, x, y);
    }
    for (let n = 0; n < cell.references.count; n++) this.#addReference(number, n, transform, magnification);
  }

  #addShape(drawn: DrawnLayer, { xy, from, to, dx, dy }: Outline, [a, b, tx, c, d, ty]: Affine2): void {
    if (to - from < 6) return;
    const ring = new Array<number>(to - from);
    for (let n = from, at = 0; n < to; n += 2) {
      const [x, y] = [xy[n]! + dx, xy[n + 1]! + dy];
      ring[at++] = a * x + b * y + tx;
      ring[at++] = c * x + d * y + ty;
    }
    let parts = [ring];
    for (const region of this.#regions) {
      parts = parts.flatMap((part) =>
        overlaps(region, polygonBox(part)) ? ringOutsideBox(part, region) : [part],
      );
    }
    const [layer, datatype] = drawn.split('/').map(Number) as [number, number];
    const polygons = this.#builder.polygons(layer, datatype);
    // Widths that are odd, and turned cells, have corners between whole units.
    if (parts.some((part) => part.some((v) => v !== Math.trunc(v) || Math.abs(v) > 0x7fffffff)))
      polygons.widen();
    for (const part of parts) {
      for (const value of part) polygons.xy.push(value);
      polygons.endPolygon();
    }
  }

  #addReference(number: number, n: number, transform: Affine2, magnification: number): void {
    const { references } = this.#index.cells[number]!;
    const child = this.#index.children[number]![references.target[n]!]!;
    const own = references.magnifications[n]!;
    const at = composeAt(transform, references.transforms, 6 * n);
    const lattice = latticeAt(references, n);
    const [a, b, , c, d] = transform;
    const step = (x: number, y: number) => [a * x + b * y, c * x + d * y] as const;
    const [ux, uy] = step(lattice.ux, lattice.uy);
    const [vx, vy] = step(lattice.vx, lattice.vy);
    const turned = { ...lattice, ux, uy, vx, vy };
    const first = transformBox(at, this.#extent(child, magnification * own));
    const add = (columns: number, rows: number, dx: number, dy: number) =>
      this.#builder.references.add(
        this.#index.cells[child]!.name,
        [at[0], at[1], at[2] + dx, at[3], at[4], at[5] + dy],
        // Of the whole way down from the top cell.
        magnification * own,
        columns,
        rows,
        [ux, uy, vx, vy],
      );
    if (!this.#meets(latticeBox(turned, first))) {
      add(lattice.columns, lattice.rows, 0, 0);
      return;
    }
    for (let row = 0; row < lattice.rows; row++) {
      let run = 0;
      for (let column = 0; column <= lattice.columns; column++) {
        const [dx, dy] = [column * ux + row * vx, column * uy + row * vy];
        const isMember = column < lattice.columns;
        const box: Box = [first[0] + dx, first[1] + dy, first[2] + dx, first[3] + dy];
        if (isMember && !this.#meets(box)) {
          run++;
          continue;
        }
        if (run > 0) add(run, 1, dx - run * ux, dy - run * uy);
        run = 0;
        const inside = this.#regions.some(
          ([x0, y0, x1, y1]) => box[0] >= x0 && box[1] >= y0 && box[2] <= x1 && box[3] <= y1,
        );
        if (isMember && !inside)
          this.#open(child, [at[0], at[1], at[2] + dx, at[3], at[4], at[5] + dy], magnification * own);
      }
    }
  }

  /** Shapes and label anchors of a cell and all below it. */
  #extent(cell: number, magnification: number): Box {
    return unionBox(this.#index.geometry(cell, magnification).box, this.#index.labels(cell).box);
  }

  #meets(box: Box): boolean {
    return !isEmptyBox(box) && this.#regions.some((region) => boxesMeet(region, box));
  }
}

/** Shared area, not a mere touch. */
const overlaps = (a: Box, b: Box): boolean => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
