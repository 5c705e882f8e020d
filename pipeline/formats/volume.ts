/** What every volume reader offers: the size, what the file says of itself, and voxels by the box. */

export type VoxelArray =
  | Uint8Array
  | Uint16Array
  | Uint32Array
  | Int8Array
  | Int16Array
  | Int32Array
  | Float32Array
  | Float64Array;

export type VoxelType = 'uint8' | 'uint16' | 'uint32' | 'int8' | 'int16' | 'int32' | 'float32' | 'float64';

/** Half-open ranges of voxel indices; j and i default to the whole slice. */
export interface VoxelBox {
  readonly k: readonly [number, number];
  readonly j?: readonly [number, number];
  readonly i?: readonly [number, number];
}

/** What the files say of themselves, before the campaign has its word. */
export interface VolumeMetadata {
  /** Voxel size along x, y, z in nanometres; null where the files do not say. */
  readonly voxelNm: { readonly x: number | null; readonly y: number | null; readonly z: number | null };
  /** Where the sizes were read: "ImageJ description", "OME-XML", "TIFF resolution tags". */
  readonly voxelSource: string | null;
  /** Unit of the grey values where stated, such as "e/Å³". */
  readonly greyUnit: string | null;
  /** Short facts worth recording: compression, byte order, software. */
  readonly notes: readonly string[];
}

export interface VolumeSource {
  readonly format: string;
  /** Slices, rows, columns. */
  readonly shape: { readonly nz: number; readonly ny: number; readonly nx: number };
  readonly type: VoxelType;
  /** Bytes on disk. */
  readonly bytes: number;
  /** Every file the voxels come from, absolute, in slice order. */
  readonly files: readonly string[];
  readonly metadata: VolumeMetadata;
  /**
   * Voxels of a box, C order (slice, row, column), in the file's own number type and native byte order.
   * @throws InputFault when the data behind the header cannot be read; RangeError for a box outside the volume; the
   *   signal's reason when stopped.
   */
  read(box: VoxelBox, signal?: AbortSignal): Promise<VoxelArray>;
  close(): Promise<void>;
}
