/** Collects one cell while a file is read. One builder serves all cells of a file in turn, reusing its buffers. */
import type { Affine2 } from '../../../shared/affine.ts';
import type {
  DrawnLayer,
  LayoutCell,
  LayoutLabel,
  PathBlock,
  PathEnds,
  PolygonBlock,
  ReferenceBlock,
} from '../layout.ts';
import { type Growing, growingFloat64, growingInt32, growingUint8, growingUint32 } from './growing.ts';

/** Polygons of one drawn layer in the cell being read. The reader appends coordinates to `xy` itself. */
export class PolygonBuilder {
  readonly drawn: DrawnLayer;
  readonly xy: Growing<Int32Array> = growingInt32();
  readonly starts: Growing<Uint32Array> = growingUint32();

  constructor(drawn: DrawnLayer) {
    this.drawn = drawn;
  }

  /** Declares all coordinates appended since the last call one polygon. */
  endPolygon(): void {
    if (this.starts.length === 0) this.starts.push(0);
    this.starts.push(this.xy.length >> 1);
  }

  take(): PolygonBlock {
    return { xy: this.xy.take(), starts: this.starts.take() };
  }
}

/** Wires of one drawn layer in the cell being read. */
export class PathBuilder {
  readonly drawn: DrawnLayer;
  readonly xy: Growing<Int32Array> = growingInt32();
  readonly #starts = growingUint32();
  readonly #widths = growingFloat64();
  readonly #absolute = growingUint8();
  readonly #ends = growingUint8();
  readonly #extensions = growingFloat64();

  constructor(drawn: DrawnLayer) {
    this.drawn = drawn;
  }

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
    return {
      xy: this.xy.take(),
      starts: this.#starts.take(),
      widthsDbu: this.#widths.take(),
      widthIsAbsolute: this.#absolute.take(),
      ends: this.#ends.take(),
      extensionsDbu: this.#extensions.take(),
    };
  }
}

/** References of the cell being read. */
class ReferenceBuilder {
  #targets: string[] = [];
  readonly #targetNumbers = new Map<string, number>();
  readonly #target = growingUint32();
  readonly #transforms = growingFloat64();
  readonly #magnifications = growingFloat64();
  readonly #columns = growingUint32();
  readonly #rows = growingUint32();
  readonly #steps = growingFloat64();
  #properties = new Map<number, Map<number | string, string>>();

  add(
    cell: string,
    transform: Affine2,
    magnification: number,
    columns: number,
    rows: number,
    stepsDbu: readonly [number, number, number, number],
  ): void {
    let number = this.#targetNumbers.get(cell);
    if (number === undefined) {
      number = this.#targets.push(cell) - 1;
      this.#targetNumbers.set(cell, number);
    }
    this.#target.push(number);
    for (let n = 0; n < 6; n++) this.#transforms.push(transform[n]);
    this.#magnifications.push(magnification);
    this.#columns.push(columns);
    this.#rows.push(rows);
    for (let n = 0; n < 4; n++) this.#steps.push(stepsDbu[n]);
  }

  /** Gives the last added reference a property. */
  addProperty(key: number | string, value: string): void {
    const last = this.#target.length - 1;
    let properties = this.#properties.get(last);
    if (properties === undefined) {
      properties = new Map();
      this.#properties.set(last, properties);
    }
    properties.set(key, value);
  }

  take(): ReferenceBlock {
    const block: ReferenceBlock = {
      count: this.#target.length,
      targets: this.#targets,
      target: this.#target.take(),
      transforms: this.#transforms.take(),
      magnifications: this.#magnifications.take(),
      columns: this.#columns.take(),
      rows: this.#rows.take(),
      stepsDbu: this.#steps.take(),
      properties: this.#properties,
    };
    this.#targets = [];
    this.#targetNumbers.clear();
    this.#properties = new Map();
    return block;
  }
}

/** Layer and datatype as one number, layer in the upper 16 bits. */
const drawnOf = (key: number): DrawnLayer => `${Math.floor(key / 65536)}/${key % 65536}`;

export class CellBuilder {
  readonly references = new ReferenceBuilder();
  #labels: LayoutLabel[] = [];
  readonly #polygons = new Map<number, PolygonBuilder>();
  readonly #paths = new Map<number, PathBuilder>();
  #lastPolygons: PolygonBuilder | undefined;
  #lastKey = -1;

  /** Builder of a drawn layer's polygons; `layer` and `datatype` are below 65536. */
  polygons(layer: number, datatype: number): PolygonBuilder {
    const key = layer * 65536 + datatype;
    // Files list the shapes of one layer in runs.
    if (key === this.#lastKey && this.#lastPolygons !== undefined) return this.#lastPolygons;
    let builder = this.#polygons.get(key);
    if (builder === undefined) {
      builder = new PolygonBuilder(drawnOf(key));
      this.#polygons.set(key, builder);
    }
    this.#lastKey = key;
    this.#lastPolygons = builder;
    return builder;
  }

  paths(layer: number, datatype: number): PathBuilder {
    const key = layer * 65536 + datatype;
    let builder = this.#paths.get(key);
    if (builder === undefined) {
      builder = new PathBuilder(drawnOf(key));
      this.#paths.set(key, builder);
    }
    return builder;
  }

  addLabel(text: string, layer: number, texttype: number, xDbu: number, yDbu: number): void {
    this.#labels.push({ text, drawn: drawnOf(layer * 65536 + texttype), xDbu, yDbu });
  }

  /** The finished cell; the builder starts over empty. */
  take(name: string): LayoutCell {
    const polygons = new Map<DrawnLayer, PolygonBlock>();
    for (const builder of this.#polygons.values()) {
      if (builder.starts.length > 0) polygons.set(builder.drawn, builder.take());
    }
    const paths = new Map<DrawnLayer, PathBlock>();
    for (const builder of this.#paths.values()) {
      if (builder.count > 0) paths.set(builder.drawn, builder.take());
    }
    const labels = this.#labels;
    this.#labels = [];
    return { name, polygons, paths, references: this.references.take(), labels };
  }
}
