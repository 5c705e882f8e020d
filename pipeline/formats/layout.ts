/**
 * The model of a layout that every layout reader fills: cells, references, shapes, labels, in database units (dbu).
 * Shapes and references lie in typed arrays, one block per cell and drawn layer, since a large layout holds
 * millions of them; `pathAt` and `referenceAt` give one entry in words.
 */
import type { Affine2 } from '../../shared/affine.ts';
import type { Box } from '../../shared/polygon.ts';

/** A layer/datatype pair of the layout file as campaign files write it: "21/0". */
export type DrawnLayer = `${number}/${number}`;

/** Coordinates x0, y0, x1, y1 ... in database units; Float64Array only where whole 32-bit numbers are not enough. */
export type CoordinateArray = Int32Array | Float64Array;

/** Polygons of one drawn layer in one cell: polygon n has the vertices starts[n] .. starts[n + 1]. */
export interface PolygonBlock {
  /** Each polygon closes implicitly; the closing vertex of the file is not repeated. */
  readonly xy: CoordinateArray;
  /** Vertex index of each polygon's first vertex, and one past the last. Length: polygons + 1. */
  readonly starts: Uint32Array;
}

/** How a wire ends. The numbers are those of the GDSII record PATHTYPE. */
export const PATH_ENDS = { flush: 0, round: 1, halfWidth: 2, explicit: 4 } as const;
export type PathEnds = (typeof PATH_ENDS)[keyof typeof PATH_ENDS];

/** Wires of one drawn layer in one cell, kept as drawn, since an absolute width does not follow a magnification. */
export interface PathBlock {
  /** Centre lines; path n has the vertices starts[n] .. starts[n + 1], at least one. */
  readonly xy: CoordinateArray;
  readonly starts: Uint32Array;
  /** One per path, never negative. */
  readonly widthsDbu: Float64Array;
  /** 1 where the width is the same whatever the magnification of the reference. */
  readonly widthIsAbsolute: Uint8Array;
  readonly ends: Uint8Array;
  /** Begin and end extension of each path; read only where `ends` is `explicit`. Length: 2 x paths. */
  readonly extensionsDbu: Float64Array;
}

/** One wire in words. */
export interface LayoutPath {
  /** Centre line, x0, y0, x1, y1 ... in database units. */
  readonly xy: ArrayLike<number>;
  readonly widthDbu: number;
  readonly widthIsAbsolute: boolean;
  readonly ends: 'flush' | 'round' | 'half-width' | { readonly beginDbu: number; readonly endDbu: number };
}

export interface LayoutLabel {
  readonly text: string;
  /** Layer/texttype of the label. */
  readonly drawn: DrawnLayer;
  readonly xDbu: number;
  readonly yDbu: number;
}

/** Lattices, one after the other: member (c, r) of a lattice is shifted by c column steps and r row steps. */
export interface LatticeBlock {
  /** At least 1 each. */
  readonly columns: Uint32Array;
  readonly rows: Uint32Array;
  /** Column step x, y and row step x, y in the cell's database units, four numbers per lattice. */
  readonly stepsDbu: Float64Array;
}

/** Shapes of one drawn layer in one cell that repeat on a lattice, kept as the one shape that the file holds. */
export interface ShapeArrayBlock {
  /** Member (0, 0) of each repeated polygon. */
  readonly polygons: PolygonBlock;
  /** One per polygon. */
  readonly polygonLattices: LatticeBlock;
  /** Member (0, 0) of each repeated wire. */
  readonly paths: PathBlock;
  /** One per wire. */
  readonly pathLattices: LatticeBlock;
}

/** All references of one cell. A reference is one placement of a cell, or a lattice of them. */
export interface ReferenceBlock extends LatticeBlock {
  readonly count: number;
  /** Names of the referenced cells, each once. */
  readonly targets: readonly string[];
  /** Index into `targets`, one per reference. */
  readonly target: Uint32Array;
  /** Child to parent in database units for member (0, 0), six numbers per reference as in `Affine2`. */
  readonly transforms: Float64Array;
  /** Magnification alone, for absolute widths. */
  readonly magnifications: Float64Array;
  /** Properties of the references that have any, by reference index. */
  readonly properties: ReadonlyMap<number, ReadonlyMap<number | string, string>>;
}

/** One reference in words: member (c, r) of the lattice is shifted by c * columnStepDbu + r * rowStepDbu. */
export interface CellReference {
  readonly cell: string;
  readonly transform: Affine2;
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
  readonly paths: ReadonlyMap<DrawnLayer, PathBlock>;
  /** Shapes beside those in `polygons` and `paths`. */
  readonly arrays: ReadonlyMap<DrawnLayer, ShapeArrayBlock>;
  readonly references: ReferenceBlock;
  readonly labels: readonly LayoutLabel[];
}

export interface Layout {
  readonly file: string;
  readonly format: 'gdsii' | 'oasis';
  /** Micrometres per database unit. */
  readonly dbuUm: number;
  /** Every referenced cell is here, and no chain of references is longer than `MAXIMUM_DEPTH` or closed. */
  readonly cells: ReadonlyMap<string, LayoutCell>;
  /** Cells that no other cell refers to, in file order. */
  readonly topCells: readonly string[];
  /** Bytes of the layout after decompression. */
  readonly bytes: number;
  /** What was tolerated, one sentence each, worth showing to the person who gave the file. */
  readonly notes: readonly string[];
}

/** One shape after all references are opened out: a closed polygon in die micrometres, not empty. */
export interface FlatShape {
  readonly drawn: DrawnLayer;
  /** Vertices in file order (a mirrored placement turns the winding round); closes implicitly. */
  readonly xyUm: Float64Array;
  readonly boxUm: Box;
}

export const polygonCount = (block: PolygonBlock | PathBlock): number => block.starts.length - 1;

const NO_PROPERTIES: ReadonlyMap<number | string, string> = new Map();

export function pathAt(block: PathBlock, n: number): LayoutPath {
  const ends = block.ends[n];
  return {
    xy: block.xy.subarray(2 * block.starts[n], 2 * block.starts[n + 1]),
    widthDbu: block.widthsDbu[n],
    widthIsAbsolute: block.widthIsAbsolute[n] === 1,
    ends:
      ends === PATH_ENDS.flush
        ? 'flush'
        : ends === PATH_ENDS.round
          ? 'round'
          : ends === PATH_ENDS.halfWidth
            ? 'half-width'
            : { beginDbu: block.extensionsDbu[2 * n], endDbu: block.extensionsDbu[2 * n + 1] },
  };
}

export function referenceAt(block: ReferenceBlock, n: number): CellReference {
  const [a, b, tx, c, d, ty] = block.transforms.subarray(6 * n, 6 * n + 6);
  const [ux, uy, vx, vy] = block.stepsDbu.subarray(4 * n, 4 * n + 4);
  return {
    cell: block.targets[block.target[n]],
    transform: [a, b, tx, c, d, ty],
    magnification: block.magnifications[n],
    columns: block.columns[n],
    rows: block.rows[n],
    columnStepDbu: [ux, uy],
    rowStepDbu: [vx, vy],
    properties: block.properties.get(n) ?? NO_PROPERTIES,
  };
}
