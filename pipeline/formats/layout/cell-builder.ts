/** Collects one cell while a file is read. One builder serves all cells of a file in turn, reusing its buffers. */
import type {
  DrawnLayer,
  LayoutCell,
  LayoutLabel,
  PathBlock,
  PolygonBlock,
  ShapeArrayBlock,
} from '../layout.ts';
import { ReferenceBuilder } from './reference-builder.ts';
import { ArrayBuilder, PathBuilder, PolygonBuilder } from './shape-builders.ts';

/** Shapes of one drawn layer in the cell being read. */
export class LayerBuilder {
  readonly drawn: DrawnLayer;
  readonly polygons = new PolygonBuilder();
  isUsed = false;
  #paths: PathBuilder | undefined;
  #arrays: ArrayBuilder | undefined;

  constructor(drawn: DrawnLayer) {
    this.drawn = drawn;
  }

  get paths(): PathBuilder {
    this.#paths ??= new PathBuilder();
    return this.#paths;
  }

  get arrays(): ArrayBuilder {
    this.#arrays ??= new ArrayBuilder();
    return this.#arrays;
  }

  takeInto(
    polygons: Map<DrawnLayer, PolygonBlock>,
    paths: Map<DrawnLayer, PathBlock>,
    arrays: Map<DrawnLayer, ShapeArrayBlock>,
  ): void {
    this.isUsed = false;
    if (this.polygons.count > 0) polygons.set(this.drawn, this.polygons.take());
    if (this.#paths !== undefined && this.#paths.count > 0) paths.set(this.drawn, this.#paths.take());
    if (this.#arrays !== undefined && this.#arrays.count > 0) arrays.set(this.drawn, this.#arrays.take());
  }
}

/** Shared by all cells that have none: a layout may hold a great many empty cells. */
const NO_POLYGONS: ReadonlyMap<DrawnLayer, PolygonBlock> = new Map();
const NO_PATHS: ReadonlyMap<DrawnLayer, PathBlock> = new Map();
const NO_ARRAYS: ReadonlyMap<DrawnLayer, ShapeArrayBlock> = new Map();
const NO_LABELS: readonly LayoutLabel[] = [];
const kept = <T>(map: ReadonlyMap<DrawnLayer, T>, none: ReadonlyMap<DrawnLayer, T>) =>
  map.size > 0 ? map : none;

/** Layer and datatype each below this share one number as their key. */
const KEYED = 65536;

export class CellBuilder {
  readonly references = new ReferenceBuilder();
  #labels: LayoutLabel[] = [];
  readonly #layers = new Map<number | DrawnLayer, LayerBuilder>();
  #used: LayerBuilder[] = [];
  #last: LayerBuilder | undefined;
  #lastLayer = -1;
  #lastDatatype = -1;

  /** Drawn layers met in the file so far. */
  get drawnLayers(): number {
    return this.#layers.size;
  }

  /** @param layer and datatype: whole numbers, not negative */
  layer(layer: number, datatype: number): LayerBuilder {
    // Files list the shapes of one layer in runs.
    if (layer === this.#lastLayer && datatype === this.#lastDatatype && this.#last !== undefined) {
      return this.#last;
    }
    const key = layer < KEYED && datatype < KEYED ? layer * KEYED + datatype : drawnOf(layer, datatype);
    let builder = this.#layers.get(key);
    if (builder === undefined) {
      builder = new LayerBuilder(drawnOf(layer, datatype));
      this.#layers.set(key, builder);
    }
    if (!builder.isUsed) {
      builder.isUsed = true;
      this.#used.push(builder);
    }
    this.#lastLayer = layer;
    this.#lastDatatype = datatype;
    this.#last = builder;
    return builder;
  }

  polygons(layer: number, datatype: number): PolygonBuilder {
    return this.layer(layer, datatype).polygons;
  }

  paths(layer: number, datatype: number): PathBuilder {
    return this.layer(layer, datatype).paths;
  }

  /** @returns the label, whose text may still be filled in where the file gives it later */
  addLabel(
    text: string,
    layer: number,
    texttype: number,
    xDbu: number,
    yDbu: number,
  ): LayoutLabel & { text: string } {
    const label = { text, drawn: drawnOf(layer, texttype), xDbu, yDbu };
    this.#labels.push(label);
    return label;
  }

  /** The finished cell; the builder starts over empty. */
  take(name: string): LayoutCell {
    const polygons = new Map<DrawnLayer, PolygonBlock>();
    const paths = new Map<DrawnLayer, PathBlock>();
    const arrays = new Map<DrawnLayer, ShapeArrayBlock>();
    for (const builder of this.#used) builder.takeInto(polygons, paths, arrays);
    const labels = this.#labels.length > 0 ? this.#labels : NO_LABELS;
    this.#labels = [];
    this.#used = [];
    this.#last = undefined;
    return {
      name,
      polygons: kept(polygons, NO_POLYGONS),
      paths: kept(paths, NO_PATHS),
      arrays: kept(arrays, NO_ARRAYS),
      references: this.references.take(),
      labels,
    };
  }
}

const drawnOf = (layer: number, datatype: number): DrawnLayer => `${layer}/${datatype}`;
