/**
 * Metadata of plates as OME-Zarr. @source OME-NGFF 0.5: "Multiscale" (axes, datasets, coordinateTransformations) and
 * "Labels"; Zarr core specification v3: array and group metadata, chunk key encoding "default", codecs bytes and gzip.
 */
import type { Plates } from '../../../../shared/artefacts/plates.ts';
import { levelSize, maximumLevel } from '../../../../shared/pyramid.ts';

export interface ZarrLevel {
  /** Name of the array, from the finest. */
  readonly path: string;
  /** Level of the Deep Zoom pyramid that it is made of. */
  readonly pyramidLevel: number;
  readonly shape: readonly [number, number, number];
  /** Pixels of the finest level along a pixel of this one. */
  readonly step: number;
}

/** Levels from the finest down to the first that fits one tile. */
export function zarrLevels(plates: Plates): ZarrLevel[] {
  const { width_px: width, height_px: height } = plates.grid;
  const size = { width, height, tilePx: plates.tiles.tile_px };
  const top = maximumLevel(size);
  const levels: ZarrLevel[] = [];
  for (let n = 0; n <= top; n++) {
    const at = levelSize(size, top - n);
    levels.push({
      ...{ path: String(n), pyramidLevel: top - n, step: 2 ** n },
      shape: [plates.z_um.length, at.height, at.width],
    });
    if (Math.max(at.width, at.height) <= size.tilePx) break;
  }
  return levels;
}

export const groupMetadata = (attributes: Record<string, unknown>): Record<string, unknown> => ({
  zarr_format: 3,
  node_type: 'group',
  attributes,
});

export const arrayMetadata = (shape: readonly number[], tilePx: number): Record<string, unknown> => ({
  zarr_format: 3,
  node_type: 'array',
  shape: [...shape],
  data_type: 'uint8',
  chunk_grid: { name: 'regular', configuration: { chunk_shape: [1, tilePx, tilePx] } },
  chunk_key_encoding: { name: 'default', configuration: { separator: '/' } },
  fill_value: 0,
  codecs: [{ name: 'bytes' }, { name: 'gzip', configuration: { level: 5 } }],
  dimension_names: ['z', 'y', 'x'],
});

/**
 * Index to die micrometres: rows run down while Y runs up, so the scale along y is negative. The first pixel of a coarser
 * level has its centre in the middle of those it stands for.
 */
export function multiscales(name: string, plates: Plates): Record<string, unknown> {
  const { grid } = plates;
  return {
    name,
    axes: ['z', 'y', 'x'].map((axis) => ({ name: axis, type: 'space', unit: 'micrometer' })),
    datasets: zarrLevels(plates).map(({ path, step }) => ({
      path,
      coordinateTransformations: [
        { type: 'scale', scale: [plates.step_um, -grid.pixel_um * step, grid.pixel_um * step] },
        {
          type: 'translation',
          translation: [
            plates.z_um[0]!,
            grid.origin_um[1] - ((step - 1) / 2) * grid.pixel_um,
            grid.origin_um[0] + ((step - 1) / 2) * grid.pixel_um,
          ],
        },
      ],
    })),
  };
}
