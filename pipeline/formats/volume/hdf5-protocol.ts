/** What is said between a reader of HDF5 files and the thread that runs the HDF5 library for it. */

/** Kinds of number that a dataset or an attribute may hold. */
export type Hdf5Class = 'integer' | 'float' | 'string' | 'enumeration' | 'compound' | 'other';

export interface Hdf5Dataset {
  /** Sizes, slowest axis first; null for a dataset without a dataspace. */
  readonly shape: readonly number[] | null;
  readonly class: Hdf5Class;
  /** Bytes per value. */
  readonly size: number;
  readonly signed: boolean;
  readonly littleEndian: boolean;
  /** Null where the values lie in one piece. */
  readonly chunks: readonly number[] | null;
  readonly filters: readonly { readonly id: number; readonly name: string }[];
  /** Files that a virtual dataset draws on; null for one that holds its own values. */
  readonly virtualFiles: readonly string[] | null;
  /** Equal for two paths that lead to the same object. */
  readonly identity: string;
}

export type Hdf5Kind = 'group' | 'dataset' | 'type' | 'broken-link' | 'external-link' | 'absent';

export type Hdf5Attribute = readonly number[] | readonly string[];

export interface Hdf5Calls {
  /** Comes first. */
  open(): void;
  /** Every path below the root, without the leading slash, in order of names; soft links not followed. */
  names(): { readonly path: string; readonly isSoftLink: boolean; readonly kind: Hdf5Kind }[];
  kind(path: string): { readonly kind: Hdf5Kind; readonly target?: string };
  dataset(path: string): Hdf5Dataset;
  /** Numbers and texts; what is neither, or larger than 64 kB, is left out. */
  attributes(path: string): Record<string, Hdf5Attribute>;
  /** Numbers of a small dataset of one axis; null where it is none. */
  numbers(path: string): readonly number[] | null;
  /** Bytes of a box in C order, little-endian. */
  read(path: string, from: readonly number[], count: readonly number[], bytes: number): ArrayBuffer;
}

export interface Hdf5Request {
  readonly call: keyof Hdf5Calls;
  readonly args: readonly unknown[];
}

export type Hdf5Answer =
  | { readonly ok: true; readonly value: unknown }
  /** `dead`: the library cannot be asked again. */
  | { readonly ok: false; readonly text: string; readonly dead: boolean };

export interface Hdf5ThreadData {
  readonly file: string;
  /** Counters at the places of PROGRESS. */
  readonly progress: SharedArrayBuffer;
  /** The library as an earlier thread has compiled it: half of the time that starting takes. */
  readonly compiled: WebAssembly.Module | null;
}

/** Parts of the file read; 1 while a read is under way; requests answered; pages of 64 kB that memory may grow to. */
export const PROGRESS = { reads: 0, isReading: 1, answers: 2, mostPages: 3, words: 4 } as const;
