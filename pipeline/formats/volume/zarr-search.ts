/** Which array of a Zarr folder is the volume: the folder itself, its full resolution, or the only one inside. */
import { type OmeImage, readOmeImage } from './ome-zarr.ts';
import type { ZarrFolder } from './zarr-folder.ts';
import { readZarrArray, type ZarrArray } from './zarr-metadata.ts';

export interface FoundArray {
  readonly array: ZarrArray;
  /** Folder of the array itself. */
  readonly folder: ZarrFolder;
  /** Path of that folder below the one that the campaign names. */
  readonly path: string;
  /** Null for an array without image metadata. */
  readonly image: OmeImage | null;
}

const MOST_CHILDREN = 1000;

/** @throws InputFault when there is no volume, or more than one to choose from */
export async function findArray(root: ZarrFolder, named: string | null): Promise<FoundArray> {
  const start = named ?? '';
  const folder = start === '' ? root : root.at(start);
  const here = await volumeAt(folder, start);
  if (here) return here;
  const found: FoundArray[] = [];
  for (const name of await folder.names('', MOST_CHILDREN)) {
    if (name.startsWith('.') || /[\\/]/.test(name)) continue;
    const child = await volumeAt(folder.at(name), join(start, name));
    if (child && (child.image || spatialAxes(child) !== null)) found.push(child);
  }
  if (found.length === 1) return found[0];
  if (found.length > 1) {
    const list = found.slice(0, 12).map(({ path, array }) => `${path} (${array.shape.join(' x ')})`);
    throw folder.fault('', {
      tag: 'inconsistent',
      expected: 'one image or array, or `dataset` to say which',
      found: `${found.length}: ${list.join(', ')}`,
      remedy: 'Add dataset: with one of these paths to the volume.',
    });
  }
  const isZarr = (await folder.json('zarr.json')) ?? (await folder.json('.zgroup'));
  throw folder.fault('', {
    tag: isZarr ? 'unsupported' : 'malformed',
    expected: 'an OME-Zarr image or a Zarr array of three axes',
    found: isZarr ? 'a group that holds none' : 'neither zarr.json nor .zattrs, .zgroup or .zarray',
    remedy: 'Name the folder of the image: the one that holds its zarr.json, or its .zattrs and .zgroup.',
  });
}

async function volumeAt(folder: ZarrFolder, path: string): Promise<FoundArray | null> {
  const array = await readZarrArray(folder);
  if (array) return { array, folder, path, image: null };
  const image = await readOmeImage(folder);
  if (!image) return null;
  const inside = folder.at(image.path);
  const level = await readZarrArray(inside);
  const fault = (expected: string, found: string, remedy: string) =>
    folder.fault(image.path, { tag: 'inconsistent', expected, found, remedy });
  if (!level) {
    throw fault('the array of full resolution', 'none', 'The copy is not whole: copy the folder again.');
  }
  const { axes } = image;
  if (level.shape.length !== axes.length) {
    const found = `${level.shape.length} (${level.shape.join(' x ')})`;
    throw fault(`${axes.length} axes (${axes.join(', ')})`, found, 'Write the image anew.');
  }
  const names = level.format === 3 ? level.dimensionNames : null;
  if (names && names.join() !== axes.join()) {
    // @source OME-NGFF 0.5: dimension_names must equal the names of the axes.
    throw fault(`dimension_names ${axes.join(', ')}`, names.join(', '), 'Write the image anew.');
  }
  return { array: level, folder: inside, path: join(path, image.path), image };
}

const join = (...parts: readonly string[]): string => parts.filter((part) => part !== '').join('/');

/** Indices of slices, rows and columns among the axes; null where other axes are longer than 1 or one is missing. */
export function spatialAxes({
  array,
  image,
}: Pick<FoundArray, 'array' | 'image'>): [number, number, number] | null {
  const names = image?.axes ?? array.dimensionNames ?? [];
  const named = ['z', 'y', 'x'].map((name) => names.indexOf(name)) as [number, number, number];
  const rank = array.shape.length;
  const plain: [number, number, number] = [rank - 3, rank - 2, rank - 1];
  const axes = named.includes(-1) ? plain : named;
  const isRest = (axis: number) => axes.includes(axis) || array.shape[axis] === 1;
  return rank >= 3 && array.shape.every((_, axis) => isRest(axis)) ? axes : null;
}
