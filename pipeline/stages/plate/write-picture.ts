/** A flat picture as a scan: one plate, its colours kept, upright as its orientation tag says. */
import { join } from 'node:path';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import { type Placement, unplaced } from '../../../shared/artefacts/placement.ts';
import type { Plates } from '../../../shared/artefacts/plates.ts';
import { InputFault } from '../../../shared/errors.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { pictureSize, unreadablePicture } from '../../formats/picture.ts';
import { plateTiles, writeFilePyramid } from '../../output/pyramid.ts';
import { platePattern } from './plan-runs.ts';

/** Flat pictures keep loose tiles in every folio: they are few, and in colour. */
const PATH = platePattern('loose');

export interface PictureJob {
  /** Absolute path. */
  readonly file: string;
  /** As campaign.yaml names it. */
  readonly name: string;
  readonly pixelUm: number;
}

export interface PictureOutcome {
  readonly plates: Plates;
  readonly layers: Layers;
  readonly placement: Placement;
}

/**
 * @param folder where the scan's data go
 * @throws InputFault when the file is no picture that can be read, is damaged, or the disk refuses
 */
export async function writePicture(job: PictureJob, folder: string): Promise<PictureOutcome> {
  const { width, height } = await pictureSize(job.file, job.name);
  await writeFilePyramid(job.file, join(folder, platePath(PATH, 0))).catch((error) => {
    throw error instanceof InputFault ? error : unreadablePicture(job.name, error);
  });
  const { pixelUm } = job;
  return {
    plates: {
      version: 1,
      frame: 'scan',
      grid: {
        origin_um: [0, (height - 1) * pixelUm],
        pixel_um: pixelUm,
        width_px: width,
        height_px: height,
      },
      step_um: pixelUm,
      z_um: [0],
      grey: { unit: 'arbitrary', windows: [{ black: 0, white: 255 }] },
      tiles: plateTiles(true),
      path: PATH,
      covered: 1,
    },
    layers: {
      version: 1,
      basis: 'none',
      layers: [],
      plates: [{ index: 0, z_um: 0, slice: 0, layer: null, confidence: 0 }],
    },
    placement: unplaced(
      [
        [pixelUm, 0, 0, 0],
        [0, -pixelUm, 0, (height - 1) * pixelUm],
        [0, 0, pixelUm, 0],
      ],
      { seen_from: 'unknown', order: 'unknown' },
      'No placement: the picture stands in a frame of its own.',
      'Where on the die this picture lies is not known.',
    ),
  };
}
