/**
 * Writes one shape, or all members of a repetition of it, to the cell being built. Small repetitions and lists of
 * places are opened out; larger lattices stay arrays.
 */
import { PATH_ENDS, type PathEnds } from '../layout.ts';
import type { CellBuilder } from './cell-builder.ts';
import { type Budget, COST } from './oasis-budget.ts';
import type { OasisCursor } from './oasis-cursor.ts';
import { failUndefined, type Modal } from './oasis-modal.ts';
import type { PathBuilder, PolygonBuilder } from './shape-builders.ts';

/** Lattices up to this many members are opened out: that takes no more room, and windows are found faster. */
export const OPENED_OUT = 8;
/** Distinct layer/datatype pairs in a file. */
const MAXIMUM_DRAWN_LAYERS = 65536;

const LARGEST = Number.MAX_SAFE_INTEGER;
const INT32_LOW = -(2 ** 31);
const INT32_HIGH = 2 ** 31 - 1;
const COARSER = 'Write the file in a coarser grid.';

/** Vertices relative to the reference point, with their extent. */
export interface RelativeShape {
  readonly xy: Float64Array;
  readonly vertices: number;
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

export class ShapeWriter {
  readonly #cursor: OasisCursor;
  readonly #modal: Modal;
  readonly #builder: CellBuilder;
  readonly #budget: Budget;
  #ends: PathEnds = PATH_ENDS.flush;
  #isWhole = true;

  constructor(cursor: OasisCursor, modal: Modal, builder: CellBuilder, budget: Budget) {
    this.#cursor = cursor;
    this.#modal = modal;
    this.#builder = builder;
    this.#budget = budget;
  }

  /** @param isWhole whether all coordinates are whole numbers */
  polygon(shape: RelativeShape, isRepeated: boolean, isWhole = true): void {
    this.#isWhole = isWhole;
    this.#write(shape, isRepeated, false);
  }

  path(shape: RelativeShape, isRepeated: boolean, ends: PathEnds): void {
    this.#isWhole = true;
    this.#ends = ends;
    this.#write(shape, isRepeated, true);
  }

  #write(shape: RelativeShape, isRepeated: boolean, isPath: boolean): void {
    const modal = this.#modal;
    const { repetition, geometryX: x, geometryY: y } = modal;
    if (modal.layer < 0) failUndefined(this.#cursor, 'a layer');
    if (modal.datatype < 0) failUndefined(this.#cursor, 'a datatype');
    const layer = this.#builder.layer(modal.layer, modal.datatype);
    if (this.#builder.drawnLayers > MAXIMUM_DRAWN_LAYERS) {
      this.#cursor.fail(
        'limit',
        `at most ${MAXIMUM_DRAWN_LAYERS} drawn layers`,
        'more',
        'Merge some of them.',
      );
    }
    const isArray = isRepeated && repetition.isLattice && repetition.members > OPENED_OUT;
    const owner = isArray ? layer.arrays : layer;
    const to = isPath ? owner.paths : owner.polygons;
    const members = isRepeated && !isArray ? repetition.members : 1;
    this.#fit(to, shape, isRepeated);
    const own = (to.isWide ? 16 : 8) * shape.vertices + (isPath ? 38 : 4) + (isArray ? COST.array : 0);
    this.#budget.charge(members * own);
    if (members === 1) {
      append(to, shape, x, y);
      this.#end(to);
      if (isArray) {
        const lattices = isPath ? layer.arrays.pathLattices : layer.arrays.polygonLattices;
        lattices.add(repetition.columns, repetition.rows, repetition.steps);
      }
      return;
    }
    repetition.openOut();
    const { offsets } = repetition;
    to.xy.reserve(2 * shape.vertices * members);
    for (let n = 0; n < members; n++) {
      append(to, shape, x + offsets[2 * n], y + offsets[2 * n + 1]);
      this.#end(to);
    }
  }

  #end(to: PolygonBuilder | PathBuilder): void {
    if ('endPath' in to) {
      const { halfWidth, beginExtension, endExtension } = this.#modal;
      to.endPath(2 * halfWidth, false, this.#ends, beginExtension, endExtension);
    } else to.endPolygon();
  }

  /** Makes sure that all coordinates have room in the arrays they go to. */
  #fit(to: PolygonBuilder | PathBuilder, shape: RelativeShape, isRepeated: boolean): void {
    const { repetition: r, geometryX: x, geometryY: y } = this.#modal;
    const x0 = x + shape.x0 + (isRepeated ? r.x0 : 0);
    const y0 = y + shape.y0 + (isRepeated ? r.y0 : 0);
    const x1 = x + shape.x1 + (isRepeated ? r.x1 : 0);
    const y1 = y + shape.y1 + (isRepeated ? r.y1 : 0);
    const isSmall = x0 >= INT32_LOW && y0 >= INT32_LOW && x1 <= INT32_HIGH && y1 <= INT32_HIGH;
    if (isSmall && this.#isWhole) return;
    if (!(x0 >= -LARGEST && y0 >= -LARGEST && x1 <= LARGEST && y1 <= LARGEST)) {
      this.#cursor.fail('limit', 'coordinates below 2^53', 'larger ones', COARSER);
    }
    to.widen();
  }
}

function append(to: PolygonBuilder | PathBuilder, shape: RelativeShape, x: number, y: number): void {
  const { xy: points, vertices } = shape;
  const { xy } = to;
  xy.reserve(2 * vertices);
  const { data } = xy;
  let used = xy.length;
  for (let at = 0; at < 2 * vertices; at += 2) {
    data[used++] = x + points[at];
    data[used++] = y + points[at + 1];
  }
  xy.length = used;
}
