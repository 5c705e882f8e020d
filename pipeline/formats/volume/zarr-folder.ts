/** The files of a Zarr hierarchy on disk. Nothing outside its folder is read, whatever metadata or links say. */
import { constants } from 'node:fs';
import { type FileHandle, open, readdir, realpath, stat } from 'node:fs/promises';
import { join, sep } from 'node:path';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';
import { inParallel } from './in-parallel.ts';

/** Part of a file, as zarrita asks for it. */
export type ByteRange =
  | { readonly offset: number; readonly length: number }
  | { readonly suffixLength: number };

export interface ZarrFolderOptions {
  readonly nameOf?: (file: string) => string;
  /** Whether links may lead out of the folder; default false. */
  readonly allowOutside?: boolean;
}

/** Metadata larger than this are damage. */
const MOST_METADATA_BYTES = 16 * 2 ** 20;
const MOST_FILES = 5_000_000;
const LANES = 8;
/** A named pipe would block the opening for ever; a link is looked at before it is followed. Windows knows neither. */
const CAREFULLY = constants.O_RDONLY | (constants.O_NONBLOCK ?? 0) | (constants.O_NOFOLLOW ?? 0);

export class ZarrFolder {
  readonly root: string;
  readonly #nameOf: (file: string) => string;
  readonly #allowOutside: boolean;
  readonly #inside = new Map<string, Promise<boolean>>();

  constructor(root: string, options: ZarrFolderOptions = {}) {
    this.root = root;
    this.#nameOf = options.nameOf ?? ((file) => file);
    this.#allowOutside = options.allowOutside ?? false;
  }

  /** Name of a path below the root, for messages. */
  nameOf(path: string): string {
    return this.#nameOf(path === '' ? this.root : join(this.root, path));
  }

  fault(path: string, fields: Omit<InputFaultFields, 'file'>, cause?: unknown): InputFault {
    return new InputFault(
      { file: this.nameOf(path), ...fields },
      cause === undefined ? undefined : { cause },
    );
  }

  /** A folder below this one, under the same rules. @throws InputFault for a path that leaves it */
  at(path: string): ZarrFolder {
    const below = new ZarrFolder(join(this.root, ...this.#parts(path)), {
      nameOf: this.#nameOf,
      allowOutside: this.#allowOutside,
    });
    // What is outside of the whole is outside of the part.
    below.#isInside = this.#isInside;
    return below;
  }

  /** JSON object of a metadata file; null where there is no such file. @throws InputFault for anything else */
  async json(path: string): Promise<Record<string, unknown> | null> {
    const bytes = await this.read(path, MOST_METADATA_BYTES);
    if (!bytes) return null;
    const fault = (found: string, cause?: unknown) =>
      this.fault(
        path,
        {
          tag: 'malformed',
          expected: 'a JSON object',
          found,
          remedy: 'Copy the file again from its source.',
        },
        cause,
      );
    let value: unknown;
    try {
      // NaN and Infinity are no JSON, but writers put them as fill value.
      const text = new TextDecoder().decode(bytes);
      value = JSON.parse(text.replace(/("fill_value"\s*:\s*)(NaN|-?Infinity)(?=\s*[,}])/g, '$1"$2"'));
    } catch (cause) {
      throw fault((cause as Error).message.slice(0, 120), cause);
    }
    if (typeof value !== 'object' || value === null || Array.isArray(value)) throw fault('something else');
    return value as Record<string, unknown>;
  }

  /** A whole file; null where there is none. @throws InputFault when it is longer than `most` or may not be read */
  async read(path: string, most: number): Promise<Uint8Array<ArrayBuffer> | null> {
    return this.#withFile(path, async (handle, size) => {
      if (size > most) {
        throw this.fault(path, {
          tag: 'limit',
          expected: `at most ${most} bytes`,
          found: `${size} bytes`,
          remedy: 'The file is damaged: copy it again from where it was made.',
        });
      }
      return readFully(handle, 0, size);
    });
  }

  /** Part of a file; null where there is no file. @throws InputFault when the file ends before or may not be read */
  async readRange(path: string, range: ByteRange, most: number): Promise<Uint8Array<ArrayBuffer> | null> {
    return this.#withFile(path, async (handle, size) => {
      const length = 'length' in range ? range.length : range.suffixLength;
      const from = 'offset' in range ? range.offset : size - length;
      const isRange = [from, length].every((n) => Number.isSafeInteger(n) && n >= 0);
      if (!isRange || from + length > size || length > most) {
        throw this.fault(path, {
          tag: 'truncated',
          place: `byte ${from}`,
          expected: `${length} bytes${length > most ? `, at most ${most},` : ''} inside the file`,
          found: `a file of ${size} bytes`,
          remedy: 'The file is cut off or damaged: copy it again from where it was made.',
        });
      }
      return readFully(handle, from, length);
    });
  }

  /** Names in a folder below this one, sorted; none where there is no such folder. */
  async names(path: string, most: number): Promise<string[]> {
    const parts = this.#parts(path);
    const folder = join(this.root, ...parts);
    if (!(await this.#isInside(folder))) throw this.#outside(path);
    const names = await readdir(folder).catch(() => [] as string[]);
    return names.sort().slice(0, most);
  }

  /** Files below this folder that are no metadata, and the bytes of all. Links are not followed. */
  async measure(): Promise<{ readonly files: number; readonly bytes: number }> {
    let files = 0;
    let bytes = 0;
    const folders = [this.root];
    for (let folder = folders.pop(); folder !== undefined && files < MOST_FILES; folder = folders.pop()) {
      const here = folder;
      const entries = await readdir(here, { withFileTypes: true }).catch(() => []);
      for (const entry of entries) if (entry.isDirectory()) folders.push(join(here, entry.name));
      const named = entries.filter((entry) => !entry.isDirectory());
      await inParallel(named.length, LANES, async (n) => {
        const { name } = named[n];
        bytes += (await stat(join(here, name)).catch(() => null))?.size ?? 0;
        if (!name.startsWith('.') && name !== 'zarr.json') files++;
      });
    }
    return { files, bytes };
  }

  async #withFile<T>(path: string, use: (handle: FileHandle, size: number) => Promise<T>): Promise<T | null> {
    const parts = this.#parts(path);
    const file = join(this.root, ...parts);
    const folder = join(this.root, ...parts.slice(0, -1));
    if (!(await this.#isInside(folder))) throw this.#outside(path);
    let handle: FileHandle;
    try {
      handle = await open(file, CAREFULLY).catch(async (error: NodeJS.ErrnoException) => {
        // A link: fine where it stays inside.
        if (error.code !== 'ELOOP') throw error;
        if (!(await this.#isInside(file))) throw this.#outside(path);
        return open(file, constants.O_RDONLY | (constants.O_NONBLOCK ?? 0));
      });
    } catch (cause) {
      const code = (cause as NodeJS.ErrnoException).code;
      if (code === 'ENOENT' || code === 'ENOTDIR') return null;
      if (cause instanceof InputFault) throw cause;
      const refused = code === 'EACCES' || code === 'EPERM';
      throw this.fault(
        path,
        {
          tag: refused ? 'no-permission' : 'malformed',
          expected: 'a readable file',
          found: refused ? 'no permission to read it' : `the system's error ${code}`,
          remedy: refused ? 'Give yourself read permission.' : 'Check the disk or the network share.',
        },
        cause,
      );
    }
    try {
      const facts = await handle.stat();
      if (facts.isFile()) return await use(handle, facts.size);
      const found = facts.isDirectory() ? 'a folder' : 'something that is not a regular file';
      throw this.fault(path, {
        tag: 'malformed',
        expected: 'a file',
        found,
        remedy: 'Copy the volume again from where it was made.',
      });
    } finally {
      await handle.close();
    }
  }

  #parts(path: string): string[] {
    const parts = path.split('/').filter((part) => part !== '');
    if (parts.some((part) => part === '..' || part === '.' || /[\\\0]/.test(part))) throw this.#outside(path);
    return parts;
  }

  #outside(path: string): InputFault {
    return this.fault('', {
      tag: 'unsupported',
      place: `path "${path}"`,
      expected: 'paths and links that stay inside the folder',
      found: 'one that leads out of it',
      remedy: 'Copy what it leads to into the folder, or allow it with --follow-links-out.',
    });
  }

  /** Whether a path, all its links followed, lies in the root; what is not there lies nowhere. */
  #isInside = (path: string): Promise<boolean> => {
    if (this.#allowOutside) return Promise.resolve(true);
    let known = this.#inside.get(path);
    if (!known) {
      known = Promise.all([realpath(this.root), realpath(path)]).then(
        ([root, real]) => real === root || real.startsWith(root.endsWith(sep) ? root : root + sep),
        () => true,
      );
      this.#inside.set(path, known);
    }
    return known;
  };
}

async function readFully(handle: FileHandle, from: number, length: number): Promise<Uint8Array<ArrayBuffer>> {
  const bytes = new Uint8Array(length);
  let done = 0;
  while (done < length) {
    const { bytesRead } = await handle.read(bytes, done, length - done, from + done);
    // The file became shorter since it was measured: the decoder will say what is missing.
    if (bytesRead === 0) return bytes.slice(0, done);
    done += bytesRead;
  }
  return bytes;
}
