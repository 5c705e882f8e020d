/** What a PNG or JPEG file says of itself, before it is decoded. */
import sharp from 'sharp';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';
import type { FileHandles } from './file-handles.ts';

export interface PictureHeader {
  readonly kind: 'png' | 'jpeg';
  readonly width: number;
  readonly height: number;
  readonly type: 'uint8' | 'uint16';
  readonly channels: number;
  /** Length of the file. */
  readonly bytes: number;
}

/** @source PNG (W3C, third edition), 5.2: the first eight bytes. */
const PNG_MARK = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
/** @source ITU-T T.81, annex B: SOI, then another marker. */
const JPEG_MARK = [0xff, 0xd8, 0xff];
const MOST_PIXELS = 2 ** 28;
/** Deflate makes 1032 bytes of one at most; a JPEG block of 64 pixels takes at least one bit per scan. */
const MOST_GROWTH = 1032;
const HEADER_BYTES = 33;

/** @throws InputFault for a file that is no such picture, or one of a kind that holds no plain grey values */
export async function readPictureHeader(handles: FileHandles, path: string): Promise<PictureHeader> {
  const fault = (fields: Omit<InputFaultFields, 'file'>, cause?: unknown) =>
    new InputFault({ file: handles.nameOf(path), ...fields }, { cause });
  const bytes = await handles.lengthOf(path);
  const start = new Uint8Array(Math.min(HEADER_BYTES, bytes));
  await handles.read(path, 0, start);
  const has = (mark: readonly number[]) => mark.every((byte, n) => start[n] === byte);
  const kind = has(PNG_MARK) ? 'png' : has(JPEG_MARK) ? 'jpeg' : null;
  if (!kind) {
    throw fault({
      tag: 'malformed',
      expected: 'a PNG or JPEG picture',
      found: bytes === 0 ? 'an empty file' : 'other bytes at its start',
      remedy: 'Check that the file is what its name says, and was copied whole.',
    });
  }
  // What is no PNG or JPEG picture never gets to the library, which reads many more kinds.
  const facts = await sharp(path, { limitInputPixels: MOST_PIXELS })
    .metadata()
    .catch((cause: unknown) => {
      const found = String((cause as Error).message)
        .replace(/\s+/g, ' ')
        .slice(0, 160);
      const isLarge = found.includes('pixel limit');
      throw fault(
        {
          tag: isLarge ? 'limit' : 'malformed',
          expected: isLarge ? `at most ${MOST_PIXELS} pixels` : 'a picture that decodes',
          found,
          remedy: 'If the size is right, crop or bin the slices; if not, copy the file again.',
        },
        cause,
      );
    });
  const { width, height, channels, depth, orientation = 1, space } = facts;
  const refuse = (expected: string, found: string, remedy: string) =>
    fault({ tag: 'unsupported', expected, found, remedy });
  if (orientation !== 1) {
    throw refuse(
      'rows from top to bottom and columns from left to right (orientation 1)',
      `orientation ${orientation}`,
      'Turn the pictures with an image program, so that no orientation tag is needed.',
    );
  }
  const bits = kind === 'png' ? start[24] : depth === 'uchar' ? 8 : 0;
  if ((bits !== 8 && bits !== 16) || (depth !== 'uchar' && depth !== 'ushort')) {
    // Fewer bits are spread over 8 by decoders, and are mostly pictures for the screen.
    const isPalette = kind === 'png' && start[25] === 3;
    if (!isPalette)
      throw refuse('grey values of 8 or 16 bits', `${bits} bits`, 'Save the slices with 8 or 16 bits.');
  }
  if (space === 'cmyk' || channels > 4) {
    throw refuse('grey values', `colours for print (${space})`, 'Save the slices as grey values.');
  }
  if (width * height * (bits === 16 ? 2 : 1) > MOST_GROWTH * bytes) {
    throw fault({
      tag: 'malformed',
      expected: `bytes for ${width} x ${height} pixels`,
      found: `a file of ${bytes} bytes`,
      remedy: 'The file is cut off or damaged: copy it again from where it was made.',
    });
  }
  return { kind, width, height, type: depth === 'ushort' ? 'uint16' : 'uint8', channels, bytes };
}
