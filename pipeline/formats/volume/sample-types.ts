/** Number types of voxels: their arrays, sizes, and how bytes of the other byte order become native ones. */
import { endianness } from 'node:os';
import type { VoxelArray, VoxelType } from '../volume.ts';

export const HOST_IS_LITTLE_ENDIAN = endianness() === 'LE';

const ARRAYS = {
  uint8: Uint8Array,
  uint16: Uint16Array,
  uint32: Uint32Array,
  int8: Int8Array,
  int16: Int16Array,
  int32: Int32Array,
  float32: Float32Array,
  float64: Float64Array,
} as const satisfies Record<VoxelType, unknown>;

export const bytesPerVoxel = (type: VoxelType): number => ARRAYS[type].BYTES_PER_ELEMENT;

export const newVoxels = (type: VoxelType, count: number): VoxelArray => new ARRAYS[type](count);

/** The bytes as voxels, without a copy where their place in memory is aligned. */
export function viewAsVoxels(type: VoxelType, bytes: Uint8Array): VoxelArray {
  const size = bytesPerVoxel(type);
  const aligned = bytes.byteOffset % size === 0 ? bytes : new Uint8Array(bytes);
  return new ARRAYS[type](
    aligned.buffer as ArrayBuffer,
    aligned.byteOffset,
    Math.floor(aligned.byteLength / size),
  );
}

/** Reverses the bytes of every value in place; sizes other than 2, 4 and 8 are left as they are. */
export function swapBytes(bytes: Uint8Array, size: number): void {
  // Buffer's swaps run natively; a hand-written loop is several times slower.
  const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (size === 2) buffer.swap16();
  else if (size === 4) buffer.swap32();
  else if (size === 8) buffer.swap64();
}
