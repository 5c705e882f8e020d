/** Sizes that a file states and its length makes impossible: refused before memory is set aside for them. */
import { InputFault } from '../../../shared/errors.ts';
import type { VolumeSource } from '../volume.ts';

/** Volumes below this are read whatever the file is: they may well be empty. */
const SMALL_BYTES = 64 * 2 ** 20;
const MOST_SLICE_PIXELS = 2 ** 30;
const MOST_SLICES = 1_000_000;
/** No volume is stored in so much less than its voxels take, constant ones without a word on disk apart. */
const MOST_GROWTH = 4096;

/**
 * @param stored bytes on disk
 * @throws InputFault for slices beyond 2^30 pixels, more than a million slices, sizes that are no whole numbers, and volumes that cannot be in
 *   the file
 */
export function checkPlausible(
  origin: { readonly file: string; readonly place?: string },
  { nz, ny, nx }: VolumeSource['shape'],
  size: number,
  stored: number,
): void {
  const stated = `${nz} slices x ${ny} rows x ${nx} columns`;
  const { file, place } = origin;
  const where = place === undefined ? { file } : { file, place };
  if (![nz, ny, nx].every((n) => Number.isSafeInteger(n) && n > 0)) {
    throw new InputFault({
      tag: 'malformed',
      ...where,
      expected: 'at least one voxel along every axis',
      found: stated,
      remedy: 'Check that the writing of the volume was finished.',
    });
  }
  if (ny * nx > MOST_SLICE_PIXELS || nz > MOST_SLICES) {
    throw new InputFault({
      tag: 'limit',
      ...where,
      expected: `at most ${MOST_SLICES} slices of at most ${MOST_SLICE_PIXELS} pixels`,
      found: stated,
      remedy: 'If the size is right, crop or bin the volume; if not, the file is damaged.',
    });
  }
  const bytes = nz * ny * nx * size;
  if (bytes > SMALL_BYTES && bytes > MOST_GROWTH * stored) {
    throw new InputFault({
      tag: 'malformed',
      ...where,
      expected: `bytes for ${stated} of ${size} bytes`,
      found: `${stored} bytes in all`,
      remedy: 'The file is damaged, or the volume was never written: copy it again from where it was made.',
    });
  }
}
