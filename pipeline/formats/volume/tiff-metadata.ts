/** Facts that a TIFF stack states of itself. */
import type { VolumeMetadata } from '../volume.ts';
import type { FileHandles } from './file-handles.ts';
import { parseImageJDescription } from './imagej-description.ts';
import { positive } from './length-units.ts';
import { parseOmeDescription } from './ome-description.ts';
import { readNumbers, readText } from './tiff-directory.ts';
import { TiffFile } from './tiff-file.ts';
import type { ScannedFile } from './tiff-scan.ts';
import { TAG } from './tiff-tags.ts';
import { type TiffResolution, voxelSize } from './voxel-size.ts';

/** What the first file of a stack says of the whole. @throws InputFault when it describes more than one volume. */
export async function readTiffMetadata(
  handles: FileHandles,
  first: ScannedFile,
  nz: number,
  seen: readonly string[],
): Promise<VolumeMetadata> {
  const file = TiffFile.known(handles, first.path, first.length);
  const page = first.first;
  const number = async (tag: number): Promise<number | null> => {
    const entry = first.firstDirectory.entries.get(tag);
    if (!entry || entry.count === 0) return null;
    const [value] = await readNumbers(
      file,
      first.header,
      { ...entry, count: 1 },
      'a resolution',
      page.number,
    );
    return positive(value);
  };
  const resolution: TiffResolution = {
    x: await number(TAG.xResolution),
    y: await number(TAG.yResolution),
    unit: (await number(TAG.resolutionUnit)) ?? 2,
  };
  const ome = parseOmeDescription(first.description);
  const imageJ = parseImageJDescription(first.description);

  const notes = [`${page.littleEndian ? 'little' : 'big'}-endian`, compressionNote(first), ...seen];
  if (ome && ome.companion === null) {
    const counts = { slices: ome.sizeZ, channels: ome.sizeC, times: ome.sizeT };
    checkOneVolume(file, notes, 'OME-XML', nz, counts);
  }
  if (imageJ) {
    const counts = { slices: imageJ.slices, channels: imageJ.channels, times: imageJ.frames };
    checkOneVolume(file, notes, 'ImageJ description', nz, counts);
  }
  const software = first.firstDirectory.entries.get(TAG.software);
  if (software)
    notes.push(
      `written by ${(await readText(file, software, page.number, 200)).replace(/\p{Cc}+/gu, ' ').trim()}`,
    );
  if (page.photometric === 0) notes.push('small numbers mean bright (MinIsWhite); values are as stored');
  if (page.photometric === 3) notes.push('colour table ignored; values are as stored');
  const calibration = imageJ?.keys.has('cf') === true;
  if (calibration) notes.push('the ImageJ description calibrates the grey values; they are as stored');
  const greyUnit = calibration ? null : (imageJ?.keys.get('vunit') ?? null);
  return {
    ...voxelSize(ome, imageJ, resolution, notes),
    greyUnit: namesAUnit(greyUnit) ? greyUnit : null,
    notes,
  };
}

/** ImageJ writes "Gray Value" where no unit was set. */
const namesAUnit = (unit: string | null): boolean => unit !== null && unit !== '' && unit !== 'Gray Value';

function compressionNote({ first }: ScannedFile): string {
  const { codec, predictor, chunks } = first;
  const by = predictor === 1 ? '' : `, predictor ${predictor}`;
  return `compression ${codec.name}${by}; ${chunks.kind}s of ${chunks.width} x ${chunks.height}`;
}

/** Channels or times between the slices would be taken for depth, without a word, if this were not asked. */
function checkOneVolume(
  file: TiffFile,
  notes: string[],
  source: string,
  nz: number,
  counts: { readonly slices: number; readonly channels: number; readonly times: number },
): void {
  const { slices, channels, times } = counts;
  const longer = Object.entries(counts).filter(([, count]) => count > 1);
  // One channel or time picked out of many is still one volume.
  if (longer.length > 1 && nz !== slices) {
    throw file.fault('unsupported', 1, null, {
      expected: 'one volume: one channel, one time',
      found: `${slices} slices x ${channels} channels x ${times} times by its ${source}`,
      remedy: 'Save one channel of one time as a stack of its own.',
    });
  }
  // Writers that are not told what the third axis is call it channels or times.
  const [only] = longer;
  if (longer.length === 1 && only[0] !== 'slices' && nz > 1) {
    notes.push(`the ${source} calls the pages ${only[0]}; taken for slices`);
  }
}
