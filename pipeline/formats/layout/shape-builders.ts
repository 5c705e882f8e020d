/** Shapes of one drawn layer in the cell being read. Readers append coordinates to `xy` themselves. */
import type {
  CoordinateArray,
  LatticeBlock,
  PathBlock,
  PathEnds,
  PolygonBlock,
  ShapeArrayBlock,
} from '../layout.ts';
import { type Growing, growingFloat64, growingInt32, growingUint8, growingUint32 } from './growing.ts';

const makeInt32 = (entries: number): CoordinateArray => new Int32Array(entries);
const makeFloat64 = (entries: number): CoordinateArray => new Float64Array(entries);

/** Coordinates, 32-bit whole numbers until a reader needs more. */
class Coordinates {
  readonly xy: Growing<CoordinateArray> = growingInt32();
  isWide = false;

  /** From here on to the end of the cell `xy` holds doubles. To be called before `xy.data` is fetched. */
  widen(): void {
    if (this.isWide) return;
    this.isWide = true;
    this.xy.convert(makeFloat64);
  }

  protected takeXy(): CoordinateArray {
    const xy = this.xy.take();
    if (this.isWide) {
      this.isWide = false;
      this.xy.convert(makeInt32);
    }
    return xy;
  }
}

export class PolygonBuilder extends Coordinates {
  readonly #starts = growingUint32();

  get count(): number {
    return Math.max(0, this.#starts.length - 1);
  }

  /** Declares all coordinates appended since the last call one polygon. */
  endPolygon(): void {
    if (this.#starts.length === 0) this.#starts.push(0);
    this.#starts.push(this.xy.length >> 1);
  }

  take(): PolygonBlock {
    if (this.#starts.length === 0) this.#starts.push(0);
    return { xy: this.takeXy(), starts: this.#starts.take() };
  }
}

export class PathBuilder extends Coordinates {
  readonly #starts = growingUint32();
  readonly #widths = growingFloat64();
  readonly #absolute = growingUint8();
  readonly #ends = growingUint8();
  readonly #extensions = growingFloat64();

  get count(): number {
    return this.#widths.length;
  }

  /** Declares all coordinates appended since the last call one path. */
  endPath(widthDbu: number, isAbsolute: boolean, ends: PathEnds, beginDbu: number, endDbu: number): void {
    if (this.#starts.length === 0) this.#starts.push(0);
    this.#starts.push(this.xy.length >> 1);
    this.#widths.push(widthDbu);
    this.#absolute.push(isAbsolute ? 1 : 0);
    this.#ends.push(ends);
    this.#extensions.push(beginDbu);
    this.#extensions.push(endDbu);
  }

  take(): PathBlock {
    if (this.#starts.length === 0) this.#starts.push(0);
    return {
      xy: this.takeXy(),
      starts: this.#starts.take(),
      widthsDbu: this.#widths.take(),
      widthIsAbsolute: this.#absolute.take(),
      ends: this.#ends.take(),
      extensionsDbu: this.#extensions.take(),
    };
  }
}

export class LatticeBuilder {
  readonly #columns = growingUint32();
  readonly #rows = growingUint32();
  readonly #steps = growingFloat64();

  add(columns: number, rows: number, stepsDbu: ArrayLike<number>): void {
    this.#columns.push(columns);
    this.#rows.push(rows);
    for (let n = 0; n < 4; n++) this.#steps.push(stepsDbu[n]);
  }

  take(): LatticeBlock {
    return { columns: this.#columns.take(), rows: this.#rows.take(), stepsDbu: this.#steps.take() };
  }
}

/** Shapes that repeat on lattices; each shape's end is followed by the `add` of its lattice. */
export class ArrayBuilder {
  readonly polygons = new PolygonBuilder();
  readonly polygonLattices = new LatticeBuilder();
  readonly paths = new PathBuilder();
  readonly pathLattices = new LatticeBuilder();

  get count(): number {
    return this.polygons.count + this.paths.count;
  }

  take(): ShapeArrayBlock {
    return {
      polygons: this.polygons.take(),
      polygonLattices: this.polygonLattices.take(),
      paths: this.paths.take(),
      pathLattices: this.pathLattices.take(),
    };
  }
}
