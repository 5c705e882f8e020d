/** Tiles of packed pyramids. Fetched only where a folio has any. */
import type { Pyramid, TilePlace } from '../tile-reader.ts';
import { PackedFile } from './packed-file.ts';
import { sayWholeFiles } from './whole-files.ts';

/** Files whose directories are kept; far fewer where each is kept whole. */
const HELD = 64;
const HELD_WHOLE = 8;

const files = new Map<string, PackedFile>();
let held = HELD;

export function readPackedTile(
  pyramid: Pyramid,
  place: TilePlace,
  signal?: AbortSignal,
): Promise<ImageBitmap> {
  const address = pyramid.root + pyramid.path;
  const file =
    files.get(address) ??
    new PackedFile(pyramid, () => {
      held = HELD_WHOLE;
      sayWholeFiles();
    });
  // The one used last stands last.
  files.delete(address);
  files.set(address, file);
  for (const oldest of files.keys()) {
    if (files.size <= held) break;
    files.delete(oldest);
  }
  return file.tile(place, signal);
}
