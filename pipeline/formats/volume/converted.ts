/** Number types that files hold and volumes do not: read as the next wider one. */
import type { VoxelArray, VoxelType } from '../volume.ts';
import { bytesPerVoxel, viewAsVoxels } from './sample-types.ts';

export interface StoredType {
  /** Bytes per stored value. */
  readonly size: number;
  /** What the voxels are given as. */
  readonly type: VoxelType;
  /** Native stored bytes to voxels; may be a view of the same memory. */
  readonly voxels: (bytes: Uint8Array) => VoxelArray;
  /** What is worth saying of the conversion. */
  readonly note: string | null;
}

export type StoredName = VoxelType | 'int64' | 'uint64' | 'float16';

const WIDE = '64-bit integers, given as 64-bit floating point: exact up to 2^53';

/** Null for a type that is not read. */
export function storedType(name: string): StoredType | null {
  switch (name) {
    case 'int64':
      return {
        size: 8,
        type: 'float64',
        voxels: (bytes) => wide(new BigInt64Array(aligned(bytes))),
        note: WIDE,
      };
    case 'uint64':
      return {
        size: 8,
        type: 'float64',
        voxels: (bytes) => wide(new BigUint64Array(aligned(bytes))),
        note: WIDE,
      };
    case 'float16':
      return { size: 2, type: 'float32', voxels: halves, note: '16-bit floating point, given as 32-bit' };
    case 'uint8':
    case 'uint16':
    case 'uint32':
    case 'int8':
    case 'int16':
    case 'int32':
    case 'float32':
    case 'float64':
      return {
        size: bytesPerVoxel(name),
        type: name,
        voxels: (bytes) => viewAsVoxels(name, bytes),
        note: null,
      };
    default:
      return null;
  }
}

const aligned = (bytes: Uint8Array): ArrayBuffer => new Uint8Array(bytes).buffer;

const wide = (values: BigInt64Array | BigUint64Array): Float64Array => Float64Array.from(values, Number);

/** @source IEEE 754-2019, binary16: 1 sign, 5 exponent (bias 15), 10 fraction bits. */
function halves(bytes: Uint8Array): Float32Array {
  const stored = new Uint16Array(aligned(bytes));
  return Float32Array.from(stored, (bits) => {
    const exponent = (bits >> 10) & 31;
    const fraction = (bits & 1023) / 1024;
    const size =
      exponent === 31
        ? fraction > 0
          ? Number.NaN
          : Number.POSITIVE_INFINITY
        : exponent === 0
          ? fraction * 2 ** -14
          : (1 + fraction) * 2 ** (exponent - 15);
    return bits >> 15 ? -size : size;
  });
}
