/** Walks the pages of one TIFF file and keeps, per slice, only what reading it later needs. */
import type { VoxelType } from '../volume.ts';
import { type ImageJDescription, parseImageJDescription } from './imagej-description.ts';
import { bytesPerVoxel } from './sample-types.ts';
import {
  readDirectory,
  readHeader,
  readText,
  readValue,
  type TiffDirectory,
  type TiffHeader,
} from './tiff-directory.ts';
import type { TiffFile } from './tiff-file.ts';
import { plainDataAt, readPage, type TiffPage } from './tiff-page.ts';
import { TAG } from './tiff-tags.ts';

export interface ScannedSlice {
  /** Page in the file, from 1. */
  readonly page: number;
  readonly directoryAt: number;
  /** Byte position of plain voxels; null where they must be decoded. */
  readonly dataAt: number | null;
}

/** What every slice of a stack must share. */
export interface SliceKind {
  readonly width: number;
  readonly height: number;
  readonly type: VoxelType;
  /** The file that set it, for messages. */
  readonly file: string;
}

export interface ScannedFile {
  readonly path: string;
  readonly length: number;
  readonly header: TiffHeader;
  readonly slices: readonly ScannedSlice[];
  readonly kind: SliceKind;
  /** First page that holds voxels, and its directory. */
  readonly first: TiffPage;
  readonly firstDirectory: TiffDirectory;
  readonly description: string;
  readonly notes: readonly string[];
}

export interface ScanRules {
  readonly maxSlicePixels: number;
  /** How much of the description to read, in bytes. */
  readonly descriptionBytes: number;
  /** Whether this is the only file of the stack. */
  readonly alone: boolean;
}

/**
 * @param kind what the slices must be like; null for the first file, which sets it
 * @throws InputFault for a file that is damaged, or whose slices differ
 */
export async function scanTiffFile(
  file: TiffFile,
  name: string,
  rules: ScanRules,
  kind: SliceKind | null,
): Promise<ScannedFile> {
  const header = await readHeader(file);
  const slices: ScannedSlice[] = [];
  const notes: string[] = [];
  let wanted = kind;
  let first: { page: TiffPage; directory: TiffDirectory } | null = null;
  let description = '';
  let imageJ: ImageJDescription | null = null;
  let aside = 0;
  let number = 0;
  const seen = new Set<number>();
  for (let at = header.first; at !== 0; ) {
    number++;
    if (seen.has(at)) {
      throw file.fault('malformed', number, at, {
        expected: 'a new image directory',
        found: 'one that was read already: the chain of pages runs in a circle',
        remedy: 'The file is damaged: copy it again from where it was made.',
      });
    }
    seen.add(at);
    const directory = await readDirectory(file, header, at, number);
    if (number === 1) {
      const entry = directory.entries.get(TAG.imageDescription);
      description = entry ? await readText(file, entry, number, rules.descriptionBytes) : '';
      imageJ = parseImageJDescription(description);
    }
    at = directory.next;
    if (await isAside(file, header, directory, number)) {
      aside++;
      continue;
    }
    const pageRules = { maxSlicePixels: rules.maxSlicePixels, ignoreColourTable: imageJ !== null };
    const page = await readPage(file, header, directory, number, pageRules);
    first ??= { page, directory };
    wanted ??= { width: page.width, height: page.height, type: page.type, file: name };
    checkKind(file, page, directory.at, wanted);
    slices.push({ page: number, directoryAt: directory.at, dataAt: plainDataAt(page) });
  }
  if (!first || !wanted) {
    throw file.fault('malformed', null, 4, {
      expected: 'at least one page of voxels',
      found: aside > 0 ? `only ${aside} previews or masks` : 'none',
      remedy: 'Check that the writing of the file was finished.',
    });
  }
  if (aside > 0) notes.push(`${aside} previews or masks left out`);
  if (imageJ && imageJ.images > 1) takeBigStack(file, imageJ.images, first.page, slices, notes, rules.alone);
  return {
    path: file.path,
    length: file.length,
    header,
    slices,
    kind: wanted,
    first: first.page,
    firstDirectory: first.directory,
    description,
    notes,
  };
}

const MOST_SLICES = 1_000_000;

/**
 * ImageJ writes stacks beyond 4 GB with a single directory: the other slices follow the first as plain data, and only
 * the description says how many they are.
 */
function takeBigStack(
  file: TiffFile,
  images: number,
  first: TiffPage,
  slices: ScannedSlice[],
  notes: string[],
  alone: boolean,
): void {
  if (images === slices.length) return;
  const [slice] = slices;
  if (images > MOST_SLICES) {
    throw file.fault('limit', 1, null, {
      expected: `at most ${MOST_SLICES} slices`,
      found: `${images} in the ImageJ description`,
      remedy: 'Correct the description, or split the stack.',
    });
  }
  const sliceBytes = first.width * first.height * bytesPerVoxel(first.type);
  const stored = slice.dataAt === null ? 1 : Math.floor((file.length - slice.dataAt) / sliceBytes);
  if (slices.length === 1 && slice.dataAt !== null && stored >= images) {
    for (let index = 1; index < images; index++)
      slices.push({ ...slice, dataAt: slice.dataAt + index * sliceBytes });
    notes.push(`${images} slices behind a single directory, as the ImageJ description says`);
  } else if (slices.length > 1 || (stored === 1 && !alone)) {
    // Programs that split or cut a stack copy its description.
    notes.push(`the description speaks of ${images} images, the file holds ${slices.length}`);
  } else {
    const end = (slice.dataAt ?? first.chunks.offsets[0]) + stored * sliceBytes;
    throw file.fault('truncated', 1, slice.dataAt === null ? null : end, {
      expected: `${images} slices as the ImageJ description says`,
      found: `${stored} in a file of ${file.length} bytes`,
      remedy: 'Copy the file again; if it really holds fewer slices, save it anew with a right description.',
    });
  }
}

/** Reduced-size previews and transparency masks. @source TIFF Revision 6.0, NewSubfileType and SubfileType. */
async function isAside(
  file: TiffFile,
  header: TiffHeader,
  directory: TiffDirectory,
  page: number,
): Promise<boolean> {
  const flags = await readValue(file, header, directory, page, 'newSubfileType', 0);
  const kind = await readValue(file, header, directory, page, 'subfileType', 1);
  return (flags & 0b101) !== 0 || kind === 2;
}

function checkKind(file: TiffFile, page: TiffPage, at: number, wanted: SliceKind): void {
  if (page.width === wanted.width && page.height === wanted.height && page.type === wanted.type) return;
  throw file.fault('inconsistent', page.number, at, {
    expected: `${wanted.width} x ${wanted.height} ${wanted.type} as in ${wanted.file}`,
    found: `${page.width} x ${page.height} ${page.type}`,
    remedy: 'Leave out what is not a slice of this volume, or make all slices the same size and type.',
  });
}
