/** A bounded set of open files: a series of thousands of slices must not use up the system's file handles. */
import { type FileHandle, open, stat } from 'node:fs/promises';
import { InputFault, type InputTag } from '../../../shared/errors.ts';

/** Reads longer than this are split, so that a stop is noticed between the parts. */
const READ_BYTES = 64 * 2 ** 20;

interface Slot {
  readonly handle: Promise<FileHandle>;
  users: number;
}

export interface FileHandlesOptions {
  /** Most files open at a time; default 16. */
  readonly limit?: number;
  /** How a file is called in messages, such as its path relative to the campaign; default the path itself. */
  readonly nameOf?: (file: string) => string;
}

export class FileHandles {
  /** In order of last use, oldest first. */
  readonly #slots = new Map<string, Slot>();
  readonly #waiting: (() => void)[] = [];
  readonly #limit: number;
  readonly nameOf: (file: string) => string;
  #closed = false;

  constructor(options: FileHandlesOptions = {}) {
    this.#limit = options.limit ?? 16;
    this.nameOf = options.nameOf ?? ((file) => file);
  }

  /**
   * Length of a regular file in bytes.
   * @throws InputFault when there is no such file, it may not be read, or it is a folder or a device.
   */
  async lengthOf(file: string): Promise<number> {
    // Asked by path before opening: opening a named pipe would wait for a writer for ever.
    const facts = await stat(file).catch((cause: unknown) => this.#fail(file, cause));
    if (!facts.isFile()) {
      throw new InputFault({
        tag: 'malformed',
        file: this.nameOf(file),
        expected: 'a file',
        found: facts.isDirectory() ? 'a folder' : 'something that is not a regular file',
        remedy: 'Name the image files themselves.',
      });
    }
    return facts.size;
  }

  /**
   * Fills `target` with the bytes from `position` on.
   * @throws InputFault when the file ends before, or cannot be read.
   */
  async read(file: string, position: number, target: Uint8Array, signal?: AbortSignal): Promise<void> {
    const slot = await this.#acquire(file);
    try {
      const handle = await slot.handle.catch((cause: unknown) => this.#fail(file, cause));
      let done = 0;
      while (done < target.length) {
        signal?.throwIfAborted();
        const length = Math.min(READ_BYTES, target.length - done);
        const { bytesRead } = await handle
          .read(target, done, length, position + done)
          .catch((cause: unknown) => this.#fail(file, cause));
        if (bytesRead === 0) throw this.#ended(file, position, target.length, done);
        done += bytesRead;
      }
    } finally {
      slot.users--;
      this.#waiting.shift()?.();
    }
  }

  /** Closes every file. Reads under way must have ended. */
  async close(): Promise<void> {
    this.#closed = true;
    const slots = [...this.#slots.values()];
    this.#slots.clear();
    for (const slot of slots) await (await slot.handle.catch(() => null))?.close();
  }

  async #acquire(file: string): Promise<Slot> {
    for (;;) {
      if (this.#closed) throw new Error('read from a volume that was closed');
      let slot = this.#slots.get(file);
      if (slot) this.#slots.delete(file);
      else if (this.#slots.size < this.#limit) slot = { handle: open(file, 'r'), users: 0 };
      else {
        const idle = [...this.#slots].find(([, candidate]) => candidate.users === 0);
        if (!idle) {
          await new Promise<void>((resolve) => this.#waiting.push(resolve));
          continue;
        }
        this.#slots.delete(idle[0]);
        slot = { handle: closeThenOpen(idle[1].handle, file), users: 0 };
      }
      this.#slots.set(file, slot);
      slot.users++;
      // A file that failed to open must not keep its place; whoever waits on it gets the reason.
      const held = slot;
      held.handle.catch(() => {
        if (this.#slots.get(file) === held) this.#slots.delete(file);
      });
      return slot;
    }
  }

  #ended(file: string, position: number, wanted: number, got: number): InputFault {
    return new InputFault({
      tag: 'truncated',
      file: this.nameOf(file),
      place: `byte ${position + got}`,
      expected: `${wanted} bytes from byte ${position} on`,
      found: `the end of the file after ${got}`,
      remedy: 'The file is shorter than it was, or incomplete: copy it again.',
    });
  }

  #fail(file: string, cause: unknown): never {
    const code = (cause as NodeJS.ErrnoException).code;
    if (code === undefined) throw cause;
    const [tag, found, remedy] = REASONS[code] ?? [
      'malformed',
      `the system's error ${code}`,
      'Check the disk or the network share that holds it.',
    ];
    throw new InputFault(
      { tag, file: this.nameOf(file), expected: 'a readable file', found, remedy },
      { cause },
    );
  }
}

async function closeThenOpen(old: Promise<FileHandle>, file: string): Promise<FileHandle> {
  await (await old.catch(() => null))?.close();
  return open(file, 'r');
}

const REASONS: Readonly<Record<string, readonly [InputTag, string, string]>> = {
  ENOENT: ['missing-file', 'no such file', 'Check the path, and whether the file was moved.'],
  ENOTDIR: ['missing-file', 'no such file', 'Check the path, and whether the file was moved.'],
  EACCES: ['no-permission', 'no permission to read it', 'Give yourself read permission.'],
  EPERM: ['no-permission', 'no permission to read it', 'Give yourself read permission.'],
  EISDIR: ['malformed', 'a folder', 'Name the image files themselves.'],
  EMFILE: ['limit', 'too many open files', 'Close other programs or raise the limit of open files.'],
  ENFILE: ['limit', 'too many open files', 'Close other programs or raise the limit of open files.'],
};
