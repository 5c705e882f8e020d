/** What an HDF5 file says of its volume: size of a voxel and unit of the greys. */
import type { VolumeMetadata } from '../volume.ts';
import type { Hdf5File } from './hdf5-file.ts';
import type { Hdf5Attribute } from './hdf5-protocol.ts';
import { type FoundDataset, firstText, join, withoutLeadingOnes } from './hdf5-search.ts';
import { nanometresPer, positive } from './length-units.ts';

type Sizes = [z: number | null, y: number | null, x: number | null];

/** Steps of an axis may differ by this share and still be even: values are often stored in 32 bits. */
const EVENNESS = 1e-3;

/** Sizes are looked for in NeXus axes first, then in attributes of the dataset. */
export async function readHdf5Metadata(
  file: Hdf5File,
  found: FoundDataset,
  notes: string[],
): Promise<VolumeMetadata> {
  const own = await file.call('attributes', [found.path]);
  const shape = withoutLeadingOnes(found.dataset.shape ?? []);
  const axes = await fromAxes(file, found.path, own, shape, notes);
  const stated = axes ? null : fromAttributes(own, notes);
  const [z, y, x] = axes ?? stated?.sizes ?? [null, null, null];
  const voxelSource = axes ? 'NeXus axes' : (stated?.source ?? null);
  if (own.scaling || own.offset) notes.push('attributes scaling and offset are there; values are as stored');
  const unit = firstText(own.units);
  return { voxelNm: { x, y, z }, voxelSource, greyUnit: unit, notes };
}

/**
 * Attributes that state a voxel size along slices, rows, columns.
 * Common practice, no source: element_size_um, voxel_size_<unit>, and resolution beside resolution_unit.
 */
function fromAttributes(
  own: Record<string, Hdf5Attribute>,
  notes: string[],
): { readonly sizes: Sizes; readonly source: string } | null {
  for (const [name, value] of Object.entries(own)) {
    const named = /^(element_size|voxel_size|resolution)(?:_(nm|um|mm|m))?$/.exec(name);
    if (!named) continue;
    const unit = named[2] ?? firstText(own[`${name}_unit`] ?? own[`${name}_units`]);
    const nm = unit === null ? null : nanometresPer(unit);
    if (nm === null) {
      notes.push(`attribute ${name} without a known unit of length: ignored`);
      continue;
    }
    const numbers = value.length === 1 ? [value[0], value[0], value[0]] : [...value];
    const sizes = numbers.map((size) => (typeof size === 'number' ? positive(size) : null));
    if (sizes.length !== 3 || sizes.includes(null)) {
      notes.push(`attribute ${name} does not hold three positive numbers: ignored`);
      continue;
    }
    return { sizes: sizes.map((size) => (size ?? 0) * nm) as Sizes, source: `attribute ${name}` };
  }
  return null;
}

/**
 * @source NeXus manual, NXdata: the attribute `axes` of the group names one field per axis of the signal; older files
 * write it on the signal, separated by colons or commas. NXtomoproc: fields x, y and z beside the data.
 */
async function fromAxes(
  file: Hdf5File,
  path: string,
  own: Record<string, Hdf5Attribute>,
  shape: readonly number[],
  notes: string[],
): Promise<Sizes | null> {
  const group = path.slice(0, path.lastIndexOf('/')) || '/';
  const around = await file.call('attributes', [group]);
  const names = axisNames(around.axes ?? own.axes);
  if (names) {
    const last = names.slice(-3);
    if (last.length !== 3) return null;
    if (last[0].toLowerCase() === 'x') notes.push('the file calls the first axis x; it is taken for slices');
    const sizes = await Promise.all(last.map((name, axis) => stepOf(file, group, name, shape[axis], notes)));
    return sizes.some((size) => size !== null) ? (sizes as Sizes) : null;
  }
  if (firstText(around.NX_class) !== 'NXdata') return null;
  // Without `axes` only the lengths tell whether the slowest axis is z or x.
  const quiet: string[] = [];
  const steps = async (order: readonly string[]) =>
    Promise.all(order.map((name, axis) => stepOf(file, group, name, shape[axis], quiet)));
  const down = await steps(['z', 'y', 'x']);
  const up = await steps(['x', 'y', 'z']);
  const isWhole = (sizes: readonly (number | null)[]) => sizes.every((size) => size !== null);
  if (isWhole(down) && isWhole(up) && Math.abs((down[0] ?? 0) / (down[2] ?? 1) - 1) > EVENNESS) {
    notes.push('axes x and z are equally long with different steps, and `axes` does not tell them apart');
    return null;
  }
  if (isWhole(down)) return down as Sizes;
  if (!isWhole(up)) return null;
  notes.push('the file calls the first axis x; it is taken for slices');
  return up as Sizes;
}

function axisNames(value: Hdf5Attribute | undefined): string[] | null {
  if (!value || value.length === 0 || typeof value[0] !== 'string') return null;
  const texts = value as readonly string[];
  return texts.length === 1 ? texts[0].replace(/[[\]]/g, '').split(/[:,]/).map(trim) : texts.map(trim);
}

/** Axes are often stored in 32 bits, and their differences carry that rounding: 2^-24 of the largest value each. */
function roundingOf(values: readonly number[]): number {
  if (!values.every((value) => Math.fround(value) === value)) return 0;
  return 2 ** -23 * values.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
}

/** The number of fewest digits that lies no further off. */
function shortest(value: number, tolerance: number): number {
  for (let digits = 1; digits < 16; digits++) {
    const rounded = Number(value.toPrecision(digits));
    if (Math.abs(rounded - value) <= tolerance) return rounded;
  }
  return value;
}

const trim = (text: string): string => text.trim();

/** Nanometres from one value of an axis to the next; null where they are no even lengths. */
async function stepOf(
  file: Hdf5File,
  group: string,
  name: string,
  length: number,
  notes: string[],
): Promise<number | null> {
  if (name === '.' || name === '') return null;
  const path = join(group, name);
  if ((await file.call('kind', [path])).kind !== 'dataset') return null;
  const values = await file.call('numbers', [path]);
  // Axes give the centres of the voxels, or all their edges.
  if (!values || values.length < 2 || (values.length !== length && values.length !== length + 1)) return null;
  const unit = firstText((await file.call('attributes', [path])).units);
  const nm = unit === null ? null : nanometresPer(unit);
  if (nm === null) {
    notes.push(`axis ${path} ${unit === null ? 'has no unit' : `is in "${unit}", no known length`}: ignored`);
    return null;
  }
  const step = (values[values.length - 1] - values[0]) / (values.length - 1);
  const isEven = values.every(
    (value, n) => Math.abs(value - values[0] - n * step) <= EVENNESS * Math.abs(step) * Math.max(1, n),
  );
  if (!isEven || positive(Math.abs(step)) === null) {
    notes.push(`axis ${path} has no even steps: ignored`);
    return null;
  }
  return shortest(Math.abs(step) * nm, (roundingOf(values) * nm) / (values.length - 1));
}
