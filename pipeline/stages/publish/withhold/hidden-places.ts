/** Where in a scan nothing may be seen: boxes in the die frame, and the pixels of the plate grid that they cover. */
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Withheld } from '../../../../shared/artefacts/withheld.ts';
import { gridBoxUm, type PlateGrid, pixelFromDie } from '../../../../shared/frames.ts';
import { type Box, boxesMeet, growBox } from '../../../../shared/polygon.ts';
import { cellInstancesInWindow } from '../../../formats/layout/flatten.ts';
import type { Layout } from '../../../formats/layout.ts';
import { sharedMask } from '../../../kernels/shared-raster.ts';
import type { Withholding } from './resolve.ts';

export interface HiddenPlaces {
  readonly regions: readonly Box[];
  readonly cells: readonly Box[];
  /** How far beyond the boxes the image is taken out. */
  readonly marginUm: number;
  /** rows x columns of the plate grid, 1 where the image is taken out; in shared memory; null for none. */
  readonly image: Uint8Array | null;
  /** The same for the drawing. */
  readonly drawing: Uint8Array | null;
  /** Whether anything of a box is not to be told of. */
  meets(box: Box): boolean;
}

/** Outlines listed in withheld.json; memories hold millions of cells. */
const LISTED = 2000;

/** Coverage factor of the placement's standard uncertainty. @source GUM (JCGM 100:2008) 6.3.3: 3 for about 99 %. */
const COVERAGE = 3;

/**
 * @param whole the layout with all that is in it
 * @param placement locked where places are hidden; the caller leaves out other scans whole
 */
export function hiddenPlaces(
  withheld: Withholding,
  whole: { readonly layout: Layout; readonly top: string } | null,
  grid: PlateGrid,
  placement: Placement,
): HiddenPlaces {
  const sd = placement.uncertainty_um;
  const marginUm =
    grid.pixel_um + COVERAGE * Math.max(sd?.x ?? 0, sd?.y ?? 0) + (placement.residual_um?.p95 ?? 0);
  const window = growBox(gridBoxUm(grid), marginUm);
  const regions = withheld.regionsUm.filter((box) => boxesMeet(box, window));
  const cells =
    whole && withheld.cells.size > 0 ? cellBoxes(whole.layout, whole.top, window, withheld.cells) : [];
  const inImage = withheld.cellsLeaveImage ? [...regions, ...cells] : regions;
  const all = [...regions, ...cells];
  const grown = all.map((box) => growBox(box, marginUm));
  return {
    ...{ regions, cells, marginUm },
    image: covered(grid, inImage, marginUm),
    drawing: covered(grid, all, 0),
    meets: (box) => grown.some((hidden) => boxesMeet(hidden, box)),
  };
}

/** Outlines of withheld cells where they stand; one inside another is covered by it. */
function cellBoxes(layout: Layout, top: string, window: Box, names: ReadonlySet<string>): Box[] {
  const boxes: Box[] = [];
  for (const { cell, cellPath, boxUm } of cellInstancesInWindow(layout, top, window)) {
    if (names.has(cell) && !cellPath.slice(0, -1).some((holder) => names.has(holder))) boxes.push(boxUm);
  }
  return boxes;
}

function covered(grid: PlateGrid, boxes: readonly Box[], marginUm: number): Uint8Array | null {
  if (boxes.length === 0) return null;
  const { width_px: width, height_px: height } = grid;
  const mask = sharedMask(width * height);
  for (const box of boxes) {
    const [x0, y0, x1, y1] = growBox(box, marginUm);
    const [left, top] = pixelFromDie(grid, x0, y1);
    const [right, bottom] = pixelFromDie(grid, x1, y0);
    // Pixel n covers n - 0.5 to n + 0.5; every pixel that shares any of its area goes.
    const first = Math.max(0, Math.ceil(left - 0.5));
    const end = Math.min(width, Math.floor(right + 0.5) + 1);
    const bottomEnd = Math.min(height, Math.floor(bottom + 0.5) + 1);
    for (let row = Math.max(0, Math.ceil(top - 0.5)); row < bottomEnd; row++) {
      if (end > first) mask.fill(1, row * width + first, row * width + end);
    }
  }
  return mask.includes(1) ? mask : null;
}

/** What withheld.json says of this scan. */
export function withheldArtefact(
  places: HiddenPlaces,
  withheld: Withholding,
  layers: Withheld['layers'],
): Withheld {
  const listed = (kind: 'region' | 'cell') => (box: Box) => ({
    kind,
    box_um: [...box] as [number, number, number, number],
  });
  return {
    version: 1,
    places: [...places.regions.map(listed('region')), ...places.cells.slice(0, LISTED).map(listed('cell'))],
    more_cells: Math.max(0, places.cells.length - LISTED),
    in_image: withheld.cellsLeaveImage ? 'regions-and-cells' : 'regions',
    margin_um: places.marginUm,
    layers: [...layers],
  };
}
