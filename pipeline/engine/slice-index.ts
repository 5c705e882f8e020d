/**
 * What the files of a volume hold, as checksums: per slice where slices lie apart, else for all of them together.
 * Files whose size, times and number on the disk are as they were are not read again.
 */
import { createHash } from 'node:crypto';
import { open, readdir, readFile, stat } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { writeAtomically } from '../output/files.ts';
import { contentKey } from './content-key.ts';

/** Plain facts of a volume on disk. */
export interface VolumeFiles {
  /** How the bytes are to be understood, where the files do not say it themselves: shape, type, dataset. */
  readonly reading: unknown;
  /** Absolute paths of files and folders. */
  readonly files: readonly string[];
  /** Bytes of the file that make up one slice, for a headerless volume. */
  readonly raw: { readonly offset: number; readonly sliceBytes: number; readonly slices: number } | null;
}

export interface VolumeContent {
  readonly reading: unknown;
  /** Of the whole. */
  readonly key: string;
  /** Of each file, by its path below the campaign; of each slice of it for a headerless volume. */
  readonly sums: ReadonlyMap<string, readonly string[]>;
}

/**
 * One checksum for each slice, or null where a slice cannot be told from the rest without decoding.
 * @param files that the reader names, in slice order, below the campaign
 */
export function sliceSums(content: VolumeContent, files: readonly string[], slices: number): string[] | null {
  const [only] = content.sums.values();
  if (content.sums.size === 1 && only!.length === slices) return [...only!];
  if (files.length !== slices) return null;
  const sums = files.map((file) => content.sums.get(file)?.[0]);
  return sums.every((sum) => sum !== undefined) ? sums : null;
}

interface Known {
  readonly size: string;
  readonly mtime: string;
  readonly ctime: string;
  readonly ino: string;
  readonly sums: readonly string[];
}

const CHUNK_BYTES = 8 << 20;
/** A file changed as late as this before it was read may have changed again within one tick of the disk's clock. */
const RACY_MS = 2_000;
const LANES = 4;

/**
 * @param indexFile where sums are remembered; may be deleted at any time
 * @param folder of the campaign; names below it count, its own place does not
 */
export async function volumeContent(
  volume: VolumeFiles,
  indexFile: string,
  folder: string,
  signal?: AbortSignal,
): Promise<VolumeContent> {
  const known = await readFile(indexFile, 'utf8').then(
    (text) => new Map(Object.entries(JSON.parse(text) as Record<string, Known>)),
    () => new Map<string, Known>(),
  );
  const files = (await Promise.all(volume.files.map(filesBelow))).flat();
  const sums: (readonly string[])[] = new Array(files.length);
  const remembered: Record<string, Known> = {};
  let next = 0;
  let changed = known.size !== files.length;
  const lane = async (): Promise<void> => {
    while (next < files.length) {
      const n = next++;
      const name = relative(folder, files[n]!);
      const s = await stat(files[n]!, { bigint: true });
      const facts = {
        size: String(s.size),
        mtime: String(s.mtimeNs),
        ctime: String(s.ctimeNs),
        ino: String(s.ino),
      };
      const before = known.get(name);
      if (
        before &&
        before.size === facts.size &&
        before.mtime === facts.mtime &&
        before.ctime === facts.ctime &&
        before.ino === facts.ino
      ) {
        sums[n] = before.sums;
        remembered[name] = before;
        continue;
      }
      changed = true;
      const started = Date.now();
      sums[n] = await sumsOf(files[n]!, volume.raw, signal);
      if (started - Number(s.ctimeNs / 1_000_000n) > RACY_MS) remembered[name] = { ...facts, sums: sums[n]! };
    }
  };
  await Promise.all(Array.from({ length: LANES }, lane));
  if (changed) await writeAtomically(indexFile, JSON.stringify(remembered));
  const named = files.map((file, n) => [relative(folder, file), sums[n]!] as const);
  return {
    reading: volume.reading,
    key: contentKey([volume.reading, named]),
    sums: new Map(named),
  };
}

/** A file itself, or everything below a folder, sorted. */
async function filesBelow(path: string): Promise<string[]> {
  if ((await stat(path)).isFile()) return [path];
  const entries = await readdir(path, { recursive: true, withFileTypes: true });
  return entries
    .filter((e) => e.isFile() || e.isSymbolicLink())
    .map((e) => join(e.parentPath, e.name))
    .sort();
}

async function sumsOf(file: string, raw: VolumeFiles['raw'], signal?: AbortSignal): Promise<string[]> {
  const handle = await open(file);
  try {
    if (!raw) return [await sumOfRange(handle, 0, Number.POSITIVE_INFINITY, signal)];
    const sums: string[] = [];
    for (let k = 0; k < raw.slices; k++)
      sums.push(await sumOfRange(handle, raw.offset + k * raw.sliceBytes, raw.sliceBytes, signal));
    return sums;
  } finally {
    await handle.close();
  }
}

async function sumOfRange(
  handle: Awaited<ReturnType<typeof open>>,
  start: number,
  length: number,
  signal?: AbortSignal,
): Promise<string> {
  const hash = createHash('sha256');
  const buffer = Buffer.allocUnsafe(Math.min(CHUNK_BYTES, length));
  for (let done = 0; done < length; ) {
    signal?.throwIfAborted();
    const { bytesRead } = await handle.read(buffer, 0, Math.min(buffer.length, length - done), start + done);
    if (bytesRead === 0) break;
    hash.update(buffer.subarray(0, bytesRead));
    done += bytesRead;
  }
  return hash.digest('hex');
}
