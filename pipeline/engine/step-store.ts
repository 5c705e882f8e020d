/**
 * Results of steps, kept by content: what a step returned and the files it wrote, under a key of everything that went
 * in. An entry is made aside and renamed when it is whole, and never changed afterwards.
 */
import { createHash, randomUUID } from 'node:crypto';
import { linkSync, mkdirSync, statSync } from 'node:fs';
import { copyFile, mkdir, readdir, readFile, rename, rm, stat, writeFile } from 'node:fs/promises';
import { dirname, join, relative, sep } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { deserialize, serialize } from 'node:v8';
import { diskFault } from '../output/files.ts';

export interface StoredFile {
  /** Below the folder of the step, with forward slashes. */
  readonly path: string;
  readonly bytes: number;
  readonly mtimeMs: number;
  readonly sha256: string;
}

export interface StoredStep<T> {
  readonly entry: string;
  readonly files: readonly StoredFile[];
  /** What the step returned. */
  value(): Promise<T>;
  /** Path of a file that was kept beside the files of the folio. */
  aside(name: string): string;
  /** Puts the files of the step below a folder, as links where the disk allows it. */
  placeIn(folder: string): Promise<void>;
}

/** Where a step writes: `files` go into the folio, `aside` stays in the cache. */
export interface StepFolders {
  readonly files: string;
  readonly aside: string;
}

const AT_ONCE = 16;

export class StepStore {
  readonly #root: string;
  readonly #fresh: boolean;
  readonly #used = new Set<string>();
  readonly #made = new Set<string>();

  /** @param fresh whether entries of earlier builds are passed over and replaced */
  constructor(root: string, fresh = false) {
    this.#root = root;
    this.#fresh = fresh;
  }

  /** Steps found and steps made by this build. */
  get counts(): { readonly found: number; readonly made: number } {
    return { found: this.#used.size - this.#made.size, made: this.#made.size };
  }

  /** @returns null where there is none, or its files are not as they were written */
  async find<T>(name: string, key: string): Promise<StoredStep<T> | null> {
    const entry = `${name}.${key}`;
    if (this.#fresh && !this.#made.has(entry)) return null;
    const folder = this.#folder(entry);
    const files = await readFile(join(folder, 'files.json'), 'utf8').then(
      (text) => JSON.parse(text) as StoredFile[],
      () => null,
    );
    if (!files || !(await this.#untouched(folder, files))) return null;
    this.#used.add(entry);
    return this.#stored(entry, files);
  }

  /** Runs the work and keeps what comes of it; a failure leaves nothing. */
  async make<T>(
    name: string,
    key: string,
    work: (folders: StepFolders) => Promise<T>,
  ): Promise<StoredStep<T>> {
    const entry = `${name}.${key}`;
    const folder = join(this.#root, 'work', `${name}-${randomUUID()}`);
    const folders = { files: join(folder, 'files'), aside: join(folder, 'aside') };
    try {
      await mkdir(folders.files, { recursive: true });
      await mkdir(folders.aside);
      const value = await work(folders);
      const files = await listFiles(folders.files);
      await writeFile(join(folder, 'value.bin'), serialize(value));
      await writeFile(join(folder, 'files.json'), JSON.stringify(files));
      const place = this.#folder(entry);
      await mkdir(dirname(place), { recursive: true });
      await rm(place, { recursive: true, force: true });
      await rename(folder, place).catch(async (error) => {
        // On a cluster a task that was given out twice may have been a moment faster.
        if (!(await stat(join(place, 'files.json')).catch(() => null))) throw error;
        await rm(folder, { recursive: true, force: true });
      });
      this.#used.add(entry);
      this.#made.add(entry);
      return this.#stored(entry, files);
    } catch (error) {
      await rm(folder, { recursive: true, force: true }).catch(() => {});
      throw diskFault(error, this.#root);
    }
  }

  /** Removes what killed builds left half-made. Only for the holder of the lock. */
  async clearWork(): Promise<void> {
    await rm(join(this.#root, 'work'), { recursive: true, force: true });
  }

  /** Removes what this build made: its input changed while it was read, so that keys and contents may not belong. */
  async dropMade(): Promise<void> {
    for (const entry of this.#made) await rm(this.#folder(entry), { recursive: true, force: true });
  }

  /** Removes every entry. */
  async clear(): Promise<void> {
    await rm(join(this.#root, 'steps'), { recursive: true, force: true });
  }

  /** Removes the entries that this build had no use for. */
  async prune(): Promise<void> {
    await this.clearWork();
    const there = await readdir(join(this.#root, 'steps')).catch(() => []);
    for (const entry of there) {
      if (!this.#used.has(entry)) await rm(this.#folder(entry), { recursive: true, force: true });
    }
  }

  #folder(entry: string): string {
    return join(this.#root, 'steps', entry);
  }

  /** A link in a folio and its entry are one file: whoever edits the one changes the other. */
  async #untouched(folder: string, files: readonly StoredFile[]): Promise<boolean> {
    let sound = true;
    await inTurns(files, (file) => {
      const found = statSync(join(folder, 'files', file.path), { throwIfNoEntry: false });
      if (found?.size !== file.bytes || found.mtimeMs !== file.mtimeMs) sound = false;
      return sound;
    });
    return sound;
  }

  #stored<T>(entry: string, files: readonly StoredFile[]): StoredStep<T> {
    const folder = this.#folder(entry);
    return {
      entry,
      files,
      value: async () => deserialize(await readFile(join(folder, 'value.bin'))) as T,
      aside: (name) => join(folder, 'aside', name),
      placeIn: async (target) => {
        const folders = [...new Set(files.map((file) => dirname(file.path)))];
        await inTurns(folders, (below) => {
          mkdirSync(join(target, below), { recursive: true });
          return true;
        });
        const others: string[] = [];
        await inTurns(files, ({ path }) => {
          if (!linked(join(folder, 'files', path), join(target, path))) others.push(path);
          return true;
        });
        await inBatches(others, (path) =>
          copyFile(join(folder, 'files', path), join(target, path)).catch((failure) => {
            throw diskFault(failure, target);
          }),
        );
      },
    };
  }
}

async function listFiles(folder: string): Promise<StoredFile[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  const paths = entries.filter((e) => e.isFile()).map((e) => join(e.parentPath, e.name));
  const files: StoredFile[] = [];
  await inBatches(paths, async (path) => {
    const data = await readFile(path);
    files.push({
      path: relative(folder, path).split(sep).join('/'),
      bytes: data.length,
      mtimeMs: (await stat(path)).mtimeMs,
      sha256: createHash('sha256').update(data).digest('hex'),
    });
  });
  return files.sort((a, b) => (a.path < b.path ? -1 : 1));
}

/** @returns false where a copy has to do: another disk, one without links, or with as many of this file as it can hold */
function linked(from: string, to: string): boolean {
  try {
    linkSync(from, to);
    return true;
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (['EXDEV', 'EPERM', 'EMLINK', 'ENOTSUP', 'EOPNOTSUPP'].includes(code ?? '')) return false;
    throw diskFault(error, to);
  }
}

/**
 * Looks and links cost a system call each, a tenth of what it takes to hand one to another thread; between turns
 * signals are heard. Stops where `one` says false.
 */
async function inTurns<T>(list: readonly T[], one: (item: T) => boolean): Promise<void> {
  for (const [n, item] of list.entries()) {
    if (n % 500 === 499) await setImmediate();
    if (!one(item)) return;
  }
}

async function inBatches<T>(list: readonly T[], one: (item: T) => Promise<void>): Promise<void> {
  let next = 0;
  const lane = async (): Promise<void> => {
    while (next < list.length) await one(list[next++]!);
  };
  await Promise.all(Array.from({ length: Math.min(AT_ONCE, list.length) }, lane));
}
