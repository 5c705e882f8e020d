/** A flat picture whose place on the die is known: resampled once into the die frame, colours kept. */
import { join } from 'node:path';
import sharp, { type OutputInfo } from 'sharp';
import { invert2 } from '../../../shared/affine.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Plates } from '../../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { unreadablePicture } from '../../formats/picture.ts';
import { plateTiles, writePyramid } from '../../output/pyramid.ts';
import { platePattern } from './plan-runs.ts';
import type { PictureJob } from './write-picture.ts';

/** Flat pictures keep loose tiles in every folio: they are few, and in colour. */
const PATH = platePattern('loose');

export interface PlacedPictureJob extends PictureJob {
  readonly placement: Placement;
  readonly grid: PlateGrid;
  /** Layer that the picture shows: the highest metal of the drawing. */
  readonly layer: string | null;
}

/** @throws InputFault when the file is damaged or the disk refuses */
export async function writePlacedPicture(
  job: PlacedPictureJob,
  folder: string,
): Promise<{ plates: Plates; layers: Layers }> {
  const { grid, placement } = job;
  const { data, info } = await sharp(job.file, { failOn: 'error' })
    .autoOrient()
    .toColourspace('srgb')
    .removeAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true })
    .catch((error) => {
      throw unreadablePicture(job.name, error);
    });
  const { bytes, covered } = onDie(data, info, placement, grid);
  const picture = { bytes, channels: 4, width: grid.width_px, height: grid.height_px } as const;
  await writePyramid(join(folder, platePath(PATH, 0)), picture, 'lossy');
  const zUm = placement.voxel_to_die_um[2][3];
  return {
    plates: {
      ...{ version: 1, frame: 'die', step_um: job.pixelUm, z_um: [zUm] },
      grid: { ...grid, origin_um: [grid.origin_um[0], grid.origin_um[1]] },
      grey: { unit: 'arbitrary', windows: [{ black: 0, white: 255 }] },
      ...{ tiles: plateTiles(true), path: PATH, covered },
    },
    layers: {
      ...{ version: 1, basis: 'none', layers: [] },
      plates: [{ index: 0, z_um: zUm, slice: 0, layer: job.layer, confidence: job.layer ? 0.9 : 0 }],
    },
  };
}

/** Red, green, blue and opacity on the plate grid, by linear interpolation; transparent outside the picture. */
function onDie(
  data: Uint8Array,
  { width, height, channels }: OutputInfo,
  { voxel_to_die_um: [[a, b, , tx], [c, d, , ty]] }: Placement,
  grid: PlateGrid,
): { bytes: Uint8Array; covered: number } {
  const back = invert2([a, b, tx, c, d, ty]);
  const bytes = new Uint8Array(4 * grid.width_px * grid.height_px);
  // A grey picture has one channel: it is each of the colours.
  const from = [0, 1, 2].map((n) => Math.min(n, channels - 1));
  let inside = 0;
  for (let row = 0, p = 0; row < grid.height_px; row++) {
    const y = grid.origin_um[1] - row * grid.pixel_um;
    for (let column = 0; column < grid.width_px; column++, p += 4) {
      const x = grid.origin_um[0] + column * grid.pixel_um;
      const i = back[0] * x + back[1] * y + back[2];
      const j = back[3] * x + back[4] * y + back[5];
      if (!(i >= -0.5 && j >= -0.5 && i <= width - 0.5 && j <= height - 0.5)) continue;
      const i0 = Math.min(Math.max(0, Math.floor(i)), Math.max(0, width - 2));
      const j0 = Math.min(Math.max(0, Math.floor(j)), Math.max(0, height - 2));
      const u = Math.min(1, Math.max(0, i - i0));
      const v = Math.min(1, Math.max(0, j - j0));
      const right = width > 1 ? channels : 0;
      const down = height > 1 ? width * channels : 0;
      const q = (j0 * width + i0) * channels;
      for (let n = 0; n < 3; n++) {
        const r = q + from[n]!;
        bytes[p + n] = Math.round(
          (data[r]! * (1 - u) + data[r + right]! * u) * (1 - v) +
            (data[r + down]! * (1 - u) + data[r + down + right]! * u) * v,
        );
      }
      bytes[p + 3] = 255;
      inside++;
    }
  }
  return { bytes, covered: inside / (grid.width_px * grid.height_px) };
}
