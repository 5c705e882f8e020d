/** The thread that runs the HDF5 library for one file: requests in, plain data out. */
import { parentPort, workerData } from 'node:worker_threads';
import { type Hdf5Library, openHdf5Library, type RawType } from './hdf5-library.ts';
import {
  type Hdf5Answer,
  type Hdf5Attribute,
  type Hdf5Calls,
  type Hdf5Class,
  type Hdf5Dataset,
  type Hdf5Kind,
  type Hdf5Request,
  type Hdf5ThreadData,
  PROGRESS,
} from './hdf5-protocol.ts';

const MOST_ATTRIBUTE_BYTES = 65536;
const MOST_NAMES = 100_000;
const MOST_NUMBERS = 1_000_000;

/** @source the HDF5 library's H5T_class_t and H5G_obj_t. */
const CLASSES: Readonly<Record<number, Hdf5Class>> = {
  0: 'integer',
  1: 'float',
  3: 'string',
  6: 'compound',
  8: 'enumeration',
};
const KINDS: Readonly<Record<number, Hdf5Kind>> = {
  0: 'group',
  1: 'dataset',
  2: 'type',
  3: 'broken-link',
  4: 'external-link',
};

class Refused extends Error {}

function callsOf({ module, openFile, takeReason }: Hdf5Library): Hdf5Calls {
  let file = -1n;
  const absolute = (path: string): string => (path.startsWith('/') ? path : `/${path}`);
  const kindOf = (path: string): Hdf5Kind =>
    path === '/' ? 'group' : (KINDS[module.get_type(file, path)] ?? 'absent');
  const withMemory = <T>(bytes: number, use: (at: number) => T): T => {
    const at = module._malloc(Math.max(1, bytes));
    if (at === 0) throw new Refused(`values of ${bytes} bytes, more than the memory set aside`);
    try {
      return use(at);
    } finally {
      module._free(at);
    }
  };
  const copy = (at: number, bytes: number): Uint8Array<ArrayBuffer> => module.HEAPU8.slice(at, at + bytes);

  const attribute = (path: string, name: string): Hdf5Attribute | null => {
    const raw = module.get_attribute_metadata(file, path, name);
    const kind = CLASSES[raw.type];
    const bytes = raw.size * raw.total_size;
    if (!raw.shape || !(bytes <= MOST_ATTRIBUTE_BYTES) || !kind) return null;
    if (kind !== 'integer' && kind !== 'float' && kind !== 'string') return null;
    return withMemory(bytes, (at) => {
      if (module.get_attribute_data(file, path, name, BigInt(at)) < 0) return null;
      const values = copy(at, bytes);
      if (kind !== 'string') return numbersOf(values, raw);
      if (!raw.vlen) return fixedTexts(values, raw.size);
      const texts = [...new Uint32Array(values.buffer)].map((pointer) =>
        pointer === 0 ? '' : module.UTF8ToString(pointer),
      );
      module.reclaim_vlen_memory(file, path, name, BigInt(at));
      return texts;
    });
  };

  const metadata = (path: string): Hdf5Dataset => {
    const raw = module.get_dataset_metadata(file, path);
    return {
      shape: raw.shape,
      class: CLASSES[raw.type] ?? 'other',
      size: raw.size,
      signed: raw.signed,
      littleEndian: raw.littleEndian,
      chunks: raw.chunks,
      filters: module.get_dataset_filters(file, path).map(({ id, name }) => ({ id, name })),
      virtualFiles: raw.virtual_sources?.map((source) => source.file_name) ?? null,
      identity: Buffer.from(module.create_object_reference(file, path)).toString('hex'),
    };
  };

  const read = (path: string, from: readonly number[], count: readonly number[], bytes: number) =>
    withMemory(bytes, (at) => {
      const wide = (values: readonly number[]) => values.map(BigInt);
      const ones = count.map(() => 1n);
      const status = module.get_dataset_data(file, path, wide(count), wide(from), ones, BigInt(at));
      // The library reports what it could not read; the module's own slices hold noise then.
      if (status < 0) throw new Refused(takeReason() ?? 'values that the HDF5 library does not read');
      return copy(at, bytes);
    });

  return {
    open: () => {
      file = openFile();
    },
    names: () => {
      const names = module.get_names(file, '/', true);
      if (names.length > MOST_NAMES) throw new Refused(`${names.length} objects`);
      return names.map((path) => ({
        path,
        isSoftLink: module.get_symbolic_link(file, absolute(path)) !== null,
        kind: kindOf(absolute(path)),
      }));
    },
    kind: (path) => {
      const kind = kindOf(path);
      const target = kind === 'external-link' ? module.get_external_link(file, path).filename : undefined;
      return target === undefined ? { kind } : { kind, target };
    },
    dataset: metadata,
    attributes: (path) => {
      const found: Record<string, Hdf5Attribute> = Object.create(null);
      for (const name of module.get_attribute_names(file, path)) {
        const value = attribute(path, name);
        if (value) found[name] = value;
      }
      return { ...found };
    },
    numbers: (path) => {
      const raw = module.get_dataset_metadata(file, path);
      const kind = CLASSES[raw.type];
      const [length] = raw.shape ?? [];
      if (raw.shape?.length !== 1 || length > MOST_NUMBERS || raw.virtual_sources) return null;
      if (kind !== 'integer' && kind !== 'float') return null;
      return numbersOf(read(path, [0], [length], length * raw.size), raw);
    },
    read: (path, from, count, bytes) => read(path, from, count, bytes).buffer,
  };
}

function numbersOf(bytes: Uint8Array, { type, size, signed }: RawType): number[] | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const getters: Readonly<Record<string, (at: number) => number>> = {
    u1: (at) => view.getUint8(at),
    u2: (at) => view.getUint16(at, true),
    u4: (at) => view.getUint32(at, true),
    u8: (at) => Number(view.getBigUint64(at, true)),
    i1: (at) => view.getInt8(at),
    i2: (at) => view.getInt16(at, true),
    i4: (at) => view.getInt32(at, true),
    i8: (at) => Number(view.getBigInt64(at, true)),
    f4: (at) => view.getFloat32(at, true),
    f8: (at) => view.getFloat64(at, true),
  };
  const get = getters[`${type === 1 ? 'f' : signed ? 'i' : 'u'}${size}`];
  return get ? Array.from({ length: bytes.length / size }, (_, n) => get(n * size)) : null;
}

function fixedTexts(bytes: Uint8Array, size: number): string[] {
  return Array.from({ length: size > 0 ? bytes.length / size : 0 }, (_, n) => {
    const text = bytes.subarray(n * size, (n + 1) * size);
    const end = text.indexOf(0);
    return new TextDecoder().decode(end < 0 ? text : text.subarray(0, end)).trimEnd();
  });
}

const data = workerData as Hdf5ThreadData;
const port = parentPort!;
const progress = new Int32Array(data.progress);

function answer(reply: Hdf5Answer, transfer: ArrayBuffer[] = []): void {
  Atomics.add(progress, PROGRESS.answers, 1);
  port.postMessage(reply, transfer);
}

/** What the compiled library throws when it ends for good: it cannot be asked again. */
const isDeath = (error: unknown): boolean =>
  error instanceof WebAssembly.RuntimeError || error instanceof RangeError || !(error instanceof Error);

try {
  const library = await openHdf5Library(data);
  const calls = callsOf(library) as unknown as Record<string, (...args: unknown[]) => unknown>;
  port.on('message', ({ call, args }: Hdf5Request) => {
    try {
      const value = calls[call](...args);
      answer({ ok: true, value }, value instanceof ArrayBuffer ? [value] : []);
    } catch (error) {
      const reason = error instanceof Refused ? error.message : library.takeReason();
      const text = reason ?? (error instanceof Error ? error.message : String(error));
      answer({ ok: false, text, dead: isDeath(error) });
    }
  });
  answer({ ok: true, value: library.compiled });
} catch (error) {
  answer({ ok: false, text: error instanceof Error ? error.message : String(error), dead: true });
}
