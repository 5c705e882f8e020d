/** One build at a time per folder: a lock that names its holder, and is taken over once the holder is gone. */
import { randomUUID } from 'node:crypto';
import { mkdir, readFile, rename, rm, stat, utimes, writeFile } from 'node:fs/promises';
import { hostname } from 'node:os';
import { dirname } from 'node:path';
import { InputFault } from '../../shared/errors.ts';
import { diskFault } from '../output/files.ts';

interface Holder {
  readonly pid: number;
  readonly host: string;
  /** When the process started, in ticks since the machine did: numbers of processes are given out again. */
  readonly started: string | null;
  readonly since: string;
}

export interface BuildLock {
  release(): Promise<void>;
}

const BEAT_MS = 10_000;
/** A holder on another machine that shows no sign of life for so long is taken for dead. */
const SILENT_MS = 120_000;

/**
 * @param file of the lock; its folder is made
 * @param folder what is locked, for the message
 * @throws InputFault when another build holds it
 */
export async function lockBuild(file: string, folder: string): Promise<BuildLock> {
  const mine: Holder = {
    pid: process.pid,
    host: hostname(),
    started: await startOf(process.pid),
    since: new Date().toISOString(),
  };
  await mkdir(dirname(file), { recursive: true }).catch((error) => {
    throw diskFault(error, folder);
  });
  for (let tries = 0; ; tries++) {
    try {
      await writeFile(file, `${JSON.stringify(mine)}\n`, { flag: 'wx' });
      break;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw diskFault(error, file);
    }
    const holder = await holderOf(file);
    if (holder === 'gone') continue;
    if (tries > 3 || (holder && (await isAlive(holder, file)))) throw held(folder, file, holder);
    // Of several that find it stale, one wins the renaming; the others start over.
    const aside = `${file}.${randomUUID()}`;
    await rename(file, aside).catch(() => {});
    await rm(aside, { force: true });
  }
  const beat = setInterval(() => {
    const now = new Date();
    utimes(file, now, now).catch(() => {});
  }, BEAT_MS);
  beat.unref();
  return {
    async release() {
      clearInterval(beat);
      await rm(file, { force: true });
    },
  };
}

/** null for a lock that was cut off while it was written. */
async function holderOf(file: string): Promise<Holder | null | 'gone'> {
  const text = await readFile(file, 'utf8').catch(() => null);
  if (text === null) return 'gone';
  try {
    return JSON.parse(text) as Holder;
  } catch {
    return null;
  }
}

async function isAlive(holder: Holder, file: string): Promise<boolean> {
  if (holder.host !== hostname()) {
    const age = await stat(file).then(
      (s) => Date.now() - s.mtimeMs,
      () => Number.POSITIVE_INFINITY,
    );
    return age < SILENT_MS;
  }
  try {
    process.kill(holder.pid, 0);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ESRCH') return false;
  }
  const started = await startOf(holder.pid);
  return holder.started === null || started === null || started === holder.started;
}

/** Field 22 of /proc/<pid>/stat (proc(5)); null where there is no such file system. */
async function startOf(pid: number): Promise<string | null> {
  const text = await readFile(`/proc/${pid}/stat`, 'utf8').catch(() => null);
  // The name in brackets may hold anything, brackets too; the field counts from the last one.
  return text?.slice(text.lastIndexOf(')') + 2).split(' ')[19] ?? null;
}

const held = (folder: string, file: string, holder: Holder | null): InputFault =>
  new InputFault({
    tag: 'inconsistent',
    file: folder,
    expected: 'no other build at work on this folder',
    found: holder
      ? `one that runs since ${holder.since} as process ${holder.pid} on ${holder.host}`
      : 'the lock of one',
    remedy: `Wait for it, or stop it. If there is none, delete ${file}.`,
  });
