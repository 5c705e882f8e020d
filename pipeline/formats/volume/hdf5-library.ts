/**
 * The HDF5 library as h5wasm compiles it, with nothing but one file to see: whatever a file says of other files, there
 * are none. Used in a thread of its own, because damaged files can make the library crash or run for ever.
 */
import { fstatSync, openSync, readSync } from 'node:fs';
import { type Hdf5ThreadData, PROGRESS } from './hdf5-protocol.ts';

export interface RawType {
  readonly type: number;
  readonly size: number;
  readonly signed: boolean;
  readonly littleEndian: boolean;
  readonly vlen: boolean;
}

export interface RawMetadata extends RawType {
  readonly shape: number[] | null;
  readonly total_size: number;
  readonly chunks: number[] | null;
  readonly virtual_sources?: { readonly file_name: string }[];
}

interface Node {
  id: number;
  mode: number;
  size: number;
  node_ops: object;
  stream_ops: object;
}

/** The part of h5wasm's module that is used; its own types describe a browser. */
export interface Hdf5Module {
  readonly HEAPU8: Uint8Array<ArrayBuffer>;
  readonly FS: {
    mkdir(path: string): void;
    mount(type: { mount(): Node }, options: object, path: string): void;
    createNode(parent: Node | null, name: string, mode: number, device: number): Node;
    readonly ErrnoError: new (code: number) => Error;
  };
  open(path: string, mode: number, trackOrder: boolean, low: number, high: number): bigint;
  get_names(file: bigint, path: string, recursive: boolean): string[];
  get_type(file: bigint, path: string): number;
  get_symbolic_link(file: bigint, path: string): string | null;
  get_external_link(file: bigint, path: string): { filename?: string; obj_path?: string };
  get_dataset_metadata(file: bigint, path: string): RawMetadata;
  get_dataset_filters(file: bigint, path: string): { id: number; name: string }[];
  get_attribute_names(file: bigint, path: string): string[];
  get_attribute_metadata(file: bigint, path: string, name: string): RawMetadata;
  get_attribute_data(file: bigint, path: string, name: string, pointer: bigint): number;
  reclaim_vlen_memory(file: bigint, path: string, name: string, pointer: bigint): number;
  create_object_reference(file: bigint, path: string): Uint8Array;
  get_dataset_data(
    file: bigint,
    path: string,
    count: bigint[] | null,
    from: bigint[] | null,
    strides: bigint[] | null,
    pointer: bigint,
  ): number;
  UTF8ToString(pointer: number): string;
  _malloc(bytes: number): number;
  _free(pointer: number): void;
}

type Factory = (options: {
  readonly noInitialRun: boolean;
  readonly print: (line: string) => void;
  readonly printErr: (line: string) => void;
  readonly instantiateWasm?: (
    imports: WebAssembly.Imports,
    receive: (instance: WebAssembly.Instance, module: WebAssembly.Module) => void,
  ) => object;
}) => Promise<Hdf5Module>;

export interface Hdf5Library {
  /** To be handed to the next thread. */
  readonly compiled: WebAssembly.Module | null;
  readonly module: Hdf5Module;
  /**
   * Handle of the file.
   * @throws Error with the library's reason when it cannot open it.
   */
  openFile(): bigint;
  /** What the library printed since it was last asked, its deepest reason alone. */
  takeReason(): string | null;
}

const PAGE = 65536;
const NAME = '/input/file.h5';
/** Codes of the C library that the module is built with. */
const ENOENT = 44;
const EINVAL = 28;
const EIO = 29;

export async function openHdf5Library(data: Hdf5ThreadData): Promise<Hdf5Library> {
  // The module for Node sees the whole disk of the user. The one for browsers sees only what is put before it.
  const address = new URL('./hdf5_util.js', import.meta.resolve('h5wasm')).href;
  const { default: factory } = (await import(address)) as { default: Factory };
  limitMemory(new Int32Array(data.progress));
  const lines: string[] = [];
  const takeReason = (): string | null => {
    const frames = lines.splice(0).filter((line) => line.trimStart().startsWith('#'));
    // A frame reads "#003: /build/H5Z.c line 12 in H5Z_pipeline(): required filter 'x' is not registered".
    return frames.at(-1)?.replace(/^.*?\(\): /, '') ?? null;
  };
  let compiled = data.compiled;
  const instantiate = WebAssembly.instantiate;
  // The module keeps what it compiles to itself; this thread compiles nothing else.
  WebAssembly.instantiate = (async (source: BufferSource, imports: WebAssembly.Imports) => {
    const made = await instantiate(source, imports);
    compiled = made.module;
    return made;
  }) as typeof instantiate;
  const module = await factory({
    noInitialRun: true,
    print: () => {},
    printErr: (line) => {
      if (lines.length < 1000) lines.push(line);
    },
    ...(compiled ? { instantiateWasm: instantiateFrom(compiled) } : {}),
  });
  mountFile(module, data);
  const openFile = (): bigint => {
    const file = module.open(NAME, 0, false, -1, -1);
    if (file < 0n) throw new Error(takeReason() ?? 'a file that the HDF5 library does not open');
    return file;
  };
  return { compiled, module, openFile, takeReason };
}

function instantiateFrom(
  compiled: WebAssembly.Module,
): NonNullable<Parameters<Factory>[0]['instantiateWasm']> {
  return (imports, receive) => {
    receive(new WebAssembly.Instance(compiled, imports), compiled);
    return {};
  };
}

/** The library takes two gigabytes before it gives up, and a forged length is enough to make it ask for them. */
function limitMemory(progress: Int32Array): void {
  const { prototype } = WebAssembly.Memory;
  const grow = prototype.grow;
  // The memory is made deep inside the module; this thread has no other.
  prototype.grow = function (this: WebAssembly.Memory, pages: number): number {
    const most = Atomics.load(progress, PROGRESS.mostPages);
    if (this.buffer.byteLength / PAGE + pages > most) throw new RangeError('memory limit');
    return grow.call(this, pages);
  };
}

function mountFile(module: Hdf5Module, data: Hdf5ThreadData): void {
  const { FS } = module;
  const handle = openSync(data.file, 'r');
  const { size } = fstatSync(handle);
  const progress = new Int32Array(data.progress);
  const getattr = (node: Node) => ({
    dev: 1,
    ino: node.id,
    mode: node.mode,
    nlink: 1,
    uid: 0,
    gid: 0,
    rdev: 0,
    size: node.size,
    atime: new Date(0),
    mtime: new Date(0),
    ctime: new Date(0),
    blksize: 4096,
    blocks: Math.ceil(node.size / 4096),
  });
  const lookup = () => {
    throw new FS.ErrnoError(ENOENT);
  };
  const read = (_: unknown, target: Int8Array, at: number, length: number, position: number): number => {
    if (position >= size) return 0;
    Atomics.store(progress, PROGRESS.isReading, 1);
    try {
      return readSync(handle, target, at, Math.min(length, size - position), position);
    } catch {
      throw new FS.ErrnoError(EIO);
    } finally {
      Atomics.store(progress, PROGRESS.isReading, 0);
      Atomics.add(progress, PROGRESS.reads, 1);
    }
  };
  const llseek = (stream: { position: number }, offset: number, whence: number): number => {
    const at = offset + (whence === 1 ? stream.position : whence === 2 ? size : 0);
    if (at < 0) throw new FS.ErrnoError(EINVAL);
    return at;
  };
  const mount = (): Node => {
    const root = FS.createNode(null, '/', 0o40555, 0);
    Object.assign(root, { size: 4096, node_ops: { getattr, lookup }, stream_ops: {} });
    const node = FS.createNode(root, 'file.h5', 0o100444, 0);
    Object.assign(node, { size, node_ops: { getattr, lookup }, stream_ops: { read, llseek } });
    return root;
  };
  FS.mkdir('/input');
  FS.mount({ mount }, {}, '/input');
}
