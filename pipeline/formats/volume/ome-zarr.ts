/**
 * OME-Zarr images: which array is the full resolution, which of its axes are slices, rows and columns, and how large a
 * voxel is.
 * @source OME-NGFF 0.4 and 0.5: multiscales, axes, datasets, coordinateTransformations.
 */
import { nanometresPer, positive } from './length-units.ts';
import type { ZarrFolder } from './zarr-folder.ts';
import { type Json, show } from './zarr-json.ts';

export interface OmeImage {
  /** Path of the array of full resolution, below the image. */
  readonly path: string;
  /** Names of the axes of the array. */
  readonly axes: readonly string[];
  readonly voxelNm: { readonly x: number | null; readonly y: number | null; readonly z: number | null };
  readonly version: string;
  readonly notes: readonly string[];
}

const VERSIONS: Readonly<Record<string, readonly string[]>> = {
  '.zattrs': ['0.4'],
  'zarr.json': ['0.5', '0.4'],
};

interface Axis {
  readonly name: string;
  readonly unit: string | null;
}

interface Level {
  readonly path: string;
  readonly scale: readonly number[];
  readonly translation: readonly number[] | null;
}

/** Null for a group that is no image. @throws InputFault for an image that does not hold to the specification. */
export async function readOmeImage(folder: ZarrFolder): Promise<OmeImage | null> {
  const v3 = await folder.json('zarr.json');
  const place = v3 ? 'zarr.json' : '.zattrs';
  const attributes = v3 ? ((v3.attributes ?? {}) as Json) : ((await folder.json('.zattrs')) ?? {});
  const ome = v3 && isObject(attributes.ome) ? attributes.ome : attributes;
  if (ome.multiscales === undefined) return null;
  const fault = (
    expected: string,
    found: string,
    tag: 'malformed' | 'unsupported' | 'inconsistent' = 'malformed',
  ) =>
    folder.fault(place, {
      tag,
      place: 'multiscales',
      expected,
      found,
      remedy: 'Write the image anew as OME-Zarr 0.4 or 0.5, one channel of one time.',
    });
  const images = ome.multiscales;
  if (!Array.isArray(images) || !isObject(images[0])) throw fault('a list of images', show(images));
  const [image] = images as Json[];
  const notes: string[] = [];
  if (images.length > 1) notes.push(`${images.length} images in one group; the first is taken`);
  const axes = axesOf(image.axes, fault);
  const version = String(ome.version ?? image.version ?? (v3 ? '0.5' : '0.4'));
  if (!VERSIONS[place].includes(version)) {
    throw fault(`version ${VERSIONS[place].join(' or ')} in ${place}`, version, 'unsupported');
  }
  const levels = levelsOf(image.datasets, axes.length, fault);
  const volume = (level: Level) =>
    axes.reduce((product, { name }, n) => product * ('zyx'.includes(name) ? level.scale[n] : 1), 1);
  // They should stand largest first; the scales say so for certain.
  const full = levels.reduce((best, level) => (volume(level) < volume(best) ? level : best));
  if (full !== levels[0]) notes.push(`the full resolution is not the first level but ${full.path}`);
  if (levels.length > 1) notes.push(`${levels.length} levels, the full resolution is ${full.path}`);
  const whole = transformsOf(image.coordinateTransformations, axes.length, fault, false);
  const size = (name: string): number | null => {
    const n = axes.findIndex((axis) => axis.name === name);
    const { unit } = axes[n];
    const nm = unit === null ? null : nanometresPer(unit);
    if (nm === null) {
      notes.push(unit === null ? `axis ${name} has no unit` : `axis ${name}: "${unit}" is no known length`);
      return null;
    }
    const scale = positive(full.scale[n] * (whole?.scale[n] ?? 1));
    return scale === null ? null : scale * nm;
  };
  const voxelNm = { z: size('z'), y: size('y'), x: size('x') };
  const shift = full.translation ?? whole?.translation;
  if (shift?.some((value) => value !== 0)) {
    const parts = axes.map(({ name, unit }, n) => `${name} ${shift[n]}${unit ? ` ${unit}` : ''}`);
    notes.push(`first voxel at ${parts.join(', ')} by its translation; the placement of the scan decides`);
  }
  return { path: full.path, axes: axes.map(({ name }) => name), voxelNm, version, notes };
}

type Fault = (expected: string, found: string, tag?: 'malformed' | 'unsupported' | 'inconsistent') => Error;

const isObject = (value: unknown): value is Json =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

function axesOf(value: unknown, fault: Fault): Axis[] {
  if (!Array.isArray(value)) throw fault('axes, as OME-Zarr has them since 0.4', show(value), 'unsupported');
  const axes = value.map((entry: unknown): Axis => {
    if (!isObject(entry) || typeof entry.name !== 'string') {
      throw fault('axes with a name, as OME-Zarr has them since 0.4', show(entry), 'unsupported');
    }
    return { name: entry.name, unit: typeof entry.unit === 'string' ? entry.unit : null };
  });
  const names = axes.map(({ name }) => name);
  if (new Set(names).size < names.length) throw fault('axes of different names', names.join(', '));
  if (!['z', 'y', 'x'].every((name) => names.includes(name))) {
    throw fault('the axes z, y and x', names.join(', '), 'unsupported');
  }
  return axes;
}

function levelsOf(value: unknown, axes: number, fault: Fault): Level[] {
  if (!Array.isArray(value) || value.length === 0) throw fault('datasets', show(value));
  return value.map((entry: unknown): Level => {
    const { path, coordinateTransformations } = isObject(entry) ? entry : {};
    if (typeof path !== 'string' || path === '') throw fault('a dataset with a path', show(entry));
    const transforms = transformsOf(coordinateTransformations, axes, fault, true);
    if (!transforms) throw fault('one scale per dataset', show(coordinateTransformations));
    return { path, ...transforms };
  });
}

/** @source OME-NGFF 0.4: exactly one scale, at most one translation behind it, as long as there are axes. */
function transformsOf(
  value: unknown,
  axes: number,
  fault: Fault,
  isNeeded: boolean,
): Omit<Level, 'path'> | null {
  if (value === undefined && !isNeeded) return null;
  const list = (Array.isArray(value) ? value : []).filter(isObject);
  const [first, second, ...more] = list;
  const isOrder = first?.type === 'scale' && (!second || second.type === 'translation') && more.length === 0;
  if (!isOrder) throw fault('a scale, then at most one translation', show(value));
  const numbers = (entry: Json, key: string): number[] => {
    const values = entry[key];
    const isList = Array.isArray(values) && values.length === axes && values.every(Number.isFinite);
    if (!isList) throw fault(`${key} of ${axes} numbers`, show(values ?? entry));
    return values as number[];
  };
  return { scale: numbers(first, 'scale'), translation: second ? numbers(second, 'translation') : null };
}
