/**
 * What the files of a volume hold, as checksums: per slice where slices lie apart, else for all of them together.
 * Files whose size, times and number on the disk are as they were are not read again.
 */
import { createHash, type Hash } from 'node:crypto';
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
  /** Size and checksum of each file as a whole, by its absolute path. */
  readonly files: ReadonlyMap<string, FileSum>;
}

export interface FileSum {
  readonly bytes: number;
  readonly sha256: string;
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
  /** Of the whole file. */
  readonly whole: string;
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
  const facts: Known[] = new Array(files.length);
  const remembered: Record<string, Known> = {};
  let next = 0;
  let changed = known.size !== files.length;
  const lane = async (): Promise<void> => {
    while (next < files.length) {
      const n = next++;
      const name = relative(folder, files[n]!);
      const s = await stat(files[n]!, { bigint: true });
      const found = {
        size: String(s.size),
        mtime: String(s.mtimeNs),
        ctime: String(s.ctimeNs),
        ino: String(s.ino),
      };
      const before = known.get(name);
      if (
        before?.whole &&
        (['size', 'mtime', 'ctime', 'ino'] as const).every((k) => before[k] === found[k])
      ) {
        facts[n] = before;
        remembered[name] = before;
        continue;
      }
      changed = true;
      const started = Date.now();
      facts[n] = { ...found, ...(await sumsOf(files[n]!, volume.raw, signal)) };
      if (started - Number(s.ctimeNs / 1_000_000n) > RACY_MS) remembered[name] = facts[n]!;
    }
  };
  await Promise.all(Array.from({ length: LANES }, lane));
  if (changed) await writeAtomically(indexFile, JSON.stringify(remembered));
  const named = files.map((file, n) => [relative(folder, file), facts[n]!.sums] as const);
  return {
    reading: volume.reading,
    key: contentKey([volume.reading, named]),
    sums: new Map(named),
    files: new Map(
      files.map((file, n) => [file, { bytes: Number(facts[n]!.size), sha256: facts[n]!.whole }]),
    ),
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

/** One reading for both: of each slice where slices lie in one file, and of the whole. */
async function sumsOf(
  file: string,
  raw: VolumeFiles['raw'],
  signal?: AbortSignal,
): Promise<Pick<Known, 'sums' | 'whole'>> {
  const handle = await open(file);
  try {
    const whole = createHash('sha256');
    const end = (await handle.stat()).size;
    const buffer = Buffer.allocUnsafe(Math.max(1, Math.min(CHUNK_BYTES, end)));
    const range = async (start: number, stop: number, part: Hash | null): Promise<void> => {
      for (let at = start; at < stop; ) {
        signal?.throwIfAborted();
        const { bytesRead } = await handle.read(buffer, 0, Math.min(buffer.length, stop - at), at);
        if (bytesRead === 0) break;
        const bytes = buffer.subarray(0, bytesRead);
        whole.update(bytes);
        part?.update(bytes);
        at += bytesRead;
      }
    };
    if (!raw) {
      await range(0, Number.POSITIVE_INFINITY, null);
      const sum = whole.digest('hex');
      return { sums: [sum], whole: sum };
    }
    const sums: string[] = [];
    await range(0, raw.offset, null);
    for (let k = 0; k < raw.slices; k++) {
      const part = createHash('sha256');
      const start = raw.offset + k * raw.sliceBytes;
      await range(start, start + raw.sliceBytes, part);
      sums.push(part.digest('hex'));
    }
    await range(raw.offset + raw.slices * raw.sliceBytes, Number.POSITIVE_INFINITY, null);
    return { sums, whole: whole.digest('hex') };
  } finally {
    await handle.close();
  }
}
