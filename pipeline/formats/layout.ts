/** The model of a layout that every layout reader fills: cells, references, shapes, labels, in database units. */
import type { Affine2 } from '../../shared/affine.ts';
import type { Box } from '../../shared/polygon.ts';

/** A layer/datatype pair of the layout file as campaign files write it: "21/0". */
export type DrawnLayer = `${number}/${number}`;

/** Polygons of one drawn layer, packed: polygon n has the vertices starts[n] .. starts[n + 1]. */
export interface PolygonBlock {
  /** x0, y0, x1, y1 ... in database units. */
  readonly xy: Int32Array | Float64Array;
  /** Vertex index of each polygon's first vertex, and one past the last. */
  readonly starts: Uint32Array;
}

/** A wire kept as drawn, since an absolute width does not scale with a magnified reference. */
export interface LayoutPath {
  /** Centre line, x0, y0, x1, y1 ... in database units. */
  readonly xy: ArrayLike<number>;
  readonly widthDbu: number;
  readonly widthIsAbsolute: boolean;
  readonly ends: 'flush' | 'round' | 'half-width' | { readonly beginDbu: number; readonly endDbu: number };
}

export interface LayoutLabel {
  readonly text: string;
  readonly drawn: DrawnLayer;
  readonly xDbu: number;
  readonly yDbu: number;
}

/** One placement of a cell, or a lattice of them: member (c, r) is shifted by c * column + r * row. */
export interface CellReference {
  readonly cell: string;
  /** Child to parent in database units, for member (0, 0). */
  readonly transform: Affine2;
  /** Magnification alone, for absolute widths. */
  readonly magnification: number;
  readonly columns: number;
  readonly rows: number;
  readonly columnStepDbu: readonly [number, number];
  readonly rowStepDbu: readonly [number, number];
  readonly properties: ReadonlyMap<number | string, string>;
}

export interface LayoutCell {
  readonly name: string;
  readonly polygons: ReadonlyMap<DrawnLayer, PolygonBlock>;
  readonly paths: ReadonlyMap<DrawnLayer, readonly LayoutPath[]>;
  readonly references: readonly CellReference[];
  readonly labels: readonly LayoutLabel[];
}

export interface Layout {
  readonly file: string;
  readonly format: 'gdsii' | 'oasis';
  /** Micrometres per database unit. */
  readonly dbuUm: number;
  readonly cells: ReadonlyMap<string, LayoutCell>;
  /** Cells that no other cell refers to, in file order. */
  readonly topCells: readonly string[];
  readonly bytes: number;
  readonly notes: readonly string[];
}

/** One shape after all references are opened out: a closed polygon in die micrometres. */
export interface FlatShape {
  readonly drawn: DrawnLayer;
  readonly xyUm: Float64Array;
  readonly boxUm: Box;
}
