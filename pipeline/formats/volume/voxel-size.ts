/** Voxel size from the three places where TIFF files state it. */
import type { VolumeMetadata } from '../volume.ts';
import type { ImageJDescription } from './imagej-description.ts';
import { nanometresPer, positive } from './length-units.ts';
import type { OmeDescription } from './ome-description.ts';

type VoxelNm = VolumeMetadata['voxelNm'];

/** Pixels per unit along x and y, and the unit by its TIFF number: 1 none, 2 inch, 3 centimetre. */
export interface TiffResolution {
  readonly x: number | null;
  readonly y: number | null;
  readonly unit: number;
}

/** Resolutions per inch that programs write when they know none; 1 is met with any unit. Common practice, no source. */
const DEFAULTS_PER_INCH = [72, 96];
const NOT_TAKEN = 'a default of image programs, not taken for a voxel size';

/**
 * Voxel size by the first that states one: OME-XML, the ImageJ description, the resolution tags. An axis of which that
 * one says nothing stays null, z above all: slices are never assumed to be as far apart as pixels.
 */
export function voxelSize(
  ome: OmeDescription | null,
  imageJ: ImageJDescription | null,
  resolution: TiffResolution,
  notes: string[],
): Pick<VolumeMetadata, 'voxelNm' | 'voxelSource'> {
  const candidates: readonly (readonly [string, () => VoxelNm | null])[] = [
    ['OME-XML', () => ome && fromOme(ome, notes)],
    ['ImageJ description', () => imageJ && fromImageJ(imageJ, resolution, notes)],
    ['TIFF resolution tags', () => fromResolution(resolution, notes)],
  ];
  for (const [source, read] of candidates) {
    const size = read();
    if (size && (size.x !== null || size.y !== null || size.z !== null)) {
      return { voxelNm: size, voxelSource: source };
    }
  }
  return { voxelNm: { x: null, y: null, z: null }, voxelSource: null };
}

/** @source OME-XML schema 2016-06: PhysicalSizeX/Y/Z, positive, in micrometres unless a unit is given. */
function fromOme(ome: OmeDescription, notes: string[]): VoxelNm {
  const axis = (name: string): number | null => {
    const text = ome.attributes.get(`PhysicalSize${name}`);
    if (text === undefined) return null;
    const unit = ome.attributes.get(`PhysicalSize${name}Unit`) ?? 'µm';
    const size = scaled(positive(Number(text)), nanometresPer(unit));
    if (size === null) notes.push(`OME-XML PhysicalSize${name} "${text} ${unit}" is no length: ignored`);
    return size;
  };
  return { x: axis('X'), y: axis('Y'), z: axis('Z') };
}

/** The resolution tags then count pixels per the block's unit; `spacing` is the step between slices in that unit. */
function fromImageJ(
  { keys }: ImageJDescription,
  resolution: TiffResolution,
  notes: string[],
): VoxelNm | null {
  const unit = keys.get('unit');
  if (unit === undefined) {
    if (keys.has('spacing')) notes.push(`ImageJ spacing ${keys.get('spacing')} without a unit: ignored`);
    return null;
  }
  const axis = (pixels: number | null, own: string): number | null => {
    const name = keys.get(own) ?? unit;
    const nm = nanometresPer(name);
    if (nm === null && own === 'unit') notes.push(`ImageJ unit "${name}" is no known length: ignored`);
    if (pixels === null || nm === null) return null;
    if (nm === 25.4e6 && isDefault(pixels, 2)) {
      notes.push(`ImageJ description says ${pixels} pixels per inch: ${NOT_TAKEN}`);
      return null;
    }
    return nm / pixels;
  };
  const x = axis(resolution.x, 'unit');
  const y = axis(resolution.y, 'yunit');
  const spacing = keys.get('spacing');
  // A negative step says that the slices were stacked downwards; which way up is the campaign's to say.
  const step = spacing === undefined ? null : positive(Math.abs(Number(spacing)));
  if (spacing !== undefined && step === null) notes.push(`ImageJ spacing "${spacing}" is no length: ignored`);
  if (spacing?.startsWith('-') && step !== null) notes.push(`ImageJ spacing ${spacing}: its sign is ignored`);
  return { x, y, z: scaled(step, nanometresPer(keys.get('zunit') ?? unit)) };
}

/** @source TIFF Revision 6.0, XResolution, YResolution, ResolutionUnit. */
function fromResolution({ x, y, unit }: TiffResolution, notes: string[]): VoxelNm | null {
  const nm = unit === 2 ? 25.4e6 : unit === 3 ? 1e7 : null;
  if (nm === null || (x === null && y === null)) return null;
  const stated = x ?? y ?? 0;
  if (isDefault(stated, unit)) {
    notes.push(
      `resolution tags say ${stated} pixels per ${unit === 2 ? 'inch' : 'centimetre'}: ${NOT_TAKEN}`,
    );
    return null;
  }
  return { x: x === null ? null : nm / x, y: y === null ? null : nm / y, z: null };
}

function isDefault(pixels: number, unit: number): boolean {
  const perInch = unit === 3 ? pixels * 2.54 : pixels;
  // Converted defaults are rounded: 72 per inch is met as 28 and as 28.35 per centimetre.
  return (
    pixels === 1 ||
    DEFAULTS_PER_INCH.some((value) => Math.abs(perInch / value - 1) < (unit === 3 ? 0.02 : 1e-3))
  );
}

const scaled = (size: number | null, nm: number | null): number | null =>
  size === null || nm === null ? null : size * nm;
