/** Which part of a slice holds image data: reconstructions pad the rest with NaN, zeros or another constant. */
import type { VolumeSource, VoxelArray } from '../../formats/volume.ts';

export interface FieldOfView {
  readonly kind: 'none' | 'nan' | 'constant';
  readonly value: number | null;
  /** 1 where a column of voxels holds data, rows x columns; null where every one does. */
  readonly mask: Uint8Array | null;
  /** Half-open index box of the data: i0, j0, i1, j1. */
  readonly box: readonly [number, number, number, number];
  /** Share of a slice without data. */
  readonly outside: number;
}

/** Slices that vote on what lies outside; a pixel counts as outside only where all good ones agree. */
const VOTES = 9;
/** Share of the voxels inside the field that may happen to have the value of the padding. */
const MOST_ALIKE = 0.1;

/**
 * Finds the padding: a value (or NaN) that at least two corners of most slices hold, and the pixels that hold it in
 * every one of the voting slices.
 */
export async function findFieldOfView(source: VolumeSource): Promise<FieldOfView> {
  const { nz, ny, nx } = source.shape;
  const slices: VoxelArray[] = [];
  for (let n = 0; n < Math.min(VOTES, nz); n++) {
    const k = Math.floor(((n + 0.5) * nz) / Math.min(VOTES, nz));
    const slice = await source.read({ k: [k, k + 1] });
    if (!isFlat(slice)) slices.push(slice);
  }
  const whole: FieldOfView = { kind: 'none', value: null, mask: null, box: [0, 0, nx, ny], outside: 0 };
  const padding = slices.length > 0 ? commonCorner(slices, nx, ny) : null;
  if (padding === null) return whole;
  const mask = new Uint8Array(nx * ny);
  const box: [number, number, number, number] = [nx, ny, 0, 0];
  let inside = 0;
  for (let p = 0; p < mask.length; p++) {
    if (slices.every((slice) => Object.is(slice[p], padding))) continue;
    mask[p] = 1;
    inside++;
    const i = p % nx;
    const j = (p - i) / nx;
    if (i < box[0]) box[0] = i;
    if (j < box[1]) box[1] = j;
    if (i >= box[2]) box[2] = i + 1;
    if (j >= box[3]) box[3] = j + 1;
  }
  if (!isPadding(padding, slices, mask, inside)) return whole;
  const isNan = Number.isNaN(padding);
  return {
    kind: isNan ? 'nan' : 'constant',
    value: isNan ? null : padding,
    mask,
    box,
    outside: 1 - inside / mask.length,
  };
}

/**
 * Padding never varies where it lies, and what it surrounds seldom has its value. A background that is as even as
 * padding (a volume without noise) shows inside the mask too, wherever a slice has no metal there.
 */
function isPadding(
  padding: number,
  slices: readonly VoxelArray[],
  mask: Uint8Array,
  inside: number,
): boolean {
  if (Number.isNaN(padding)) return inside > 0;
  let same = 0;
  for (const slice of slices)
    for (let p = 0; p < mask.length; p++) if (mask[p] && slice[p] === padding) same++;
  return same < MOST_ALIKE * inside * slices.length;
}

export function isFlat(values: VoxelArray): boolean {
  const first = values[0];
  return values.every((value) => Object.is(value, first));
}

/** A value that at least two corners share in two slices of three; real data rarely repeat exactly. */
function commonCorner(slices: readonly VoxelArray[], nx: number, ny: number): number | null {
  const corners = [0, nx - 1, nx * (ny - 1), nx * ny - 1];
  const votes = new Map<number, number>();
  for (const slice of slices) {
    const seen = new Map<number, number>();
    for (const corner of corners) seen.set(slice[corner]!, (seen.get(slice[corner]!) ?? 0) + 1);
    for (const [value, count] of seen) if (count >= 2) votes.set(value, (votes.get(value) ?? 0) + 1);
  }
  for (const [value, count] of votes) if (count >= (slices.length * 2) / 3) return value;
  return null;
}
