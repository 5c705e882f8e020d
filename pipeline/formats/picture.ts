/** Flat pictures: what a file says of itself before its pixels are read. */
import { stat } from 'node:fs/promises';
import sharp from 'sharp';
import { InputFault } from '../../shared/errors.ts';

/** Formats that a camera, a scanner or an electron microscope writes. */
const FORMATS = ['jpeg', 'png', 'tiff', 'webp'];

/** Width and height once the picture stands upright. @throws InputFault */
export async function pictureSize(
  file: string,
  name: string,
): Promise<{ width: number; height: number; format: string; bytes: number }> {
  const info = await stat(file).catch(() => null);
  if (!info?.isFile()) {
    throw new InputFault({
      tag: 'missing-file',
      file: name,
      expected: 'a picture',
      found: info ? 'a folder' : 'no such file',
      remedy: 'Correct the path in campaign.yaml, or put the file there.',
    });
  }
  const metadata = await sharp(file)
    .metadata()
    .catch((error) => {
      throw unreadablePicture(name, error);
    });
  if (!FORMATS.includes(metadata.format)) {
    throw new InputFault({
      tag: 'unsupported',
      file: name,
      expected: 'JPEG, PNG, TIFF or WebP',
      found: metadata.format,
      remedy: 'Save the picture in one of these formats.',
    });
  }
  // Orientations 5 to 8 of the EXIF standard lie on their side.
  const turned = (metadata.orientation ?? 1) >= 5;
  const { width, height } = metadata;
  return {
    width: turned ? height : width,
    height: turned ? width : height,
    format: metadata.format,
    bytes: info.size,
  };
}

export const unreadablePicture = (name: string, cause: unknown): InputFault =>
  new InputFault(
    {
      tag: 'malformed',
      file: name,
      expected: 'a whole picture in JPEG, PNG, TIFF or WebP',
      found: (cause instanceof Error ? cause.message : String(cause)).split('\n')[0]!,
      remedy: 'Open it in a picture editor and save it again, or copy it once more.',
    },
    { cause },
  );
