/** Writes a campaign beside its place and moves it there when it is finished: nothing half-written is ever seen. */
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import { DemoFault } from './input-fault.ts';
import type { GeneratorStamp } from './truth.ts';

/** True where `folder` holds a finished campaign of exactly this stamp. */
export function isUpToDate(folder: string, stamp: GeneratorStamp): boolean {
  try {
    const truth = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8')) as { generator?: unknown };
    return JSON.stringify(truth.generator) === JSON.stringify(stamp);
  } catch {
    return false;
  }
}

/** A folder that is no campaign of ours is never written over. */
function refuseForeign(folder: string): void {
  if (!existsSync(folder) || existsSync(join(folder, 'truth.json'))) return;
  throw new DemoFault({
    file: folder,
    expected: 'no folder, or a campaign that this generator wrote',
    found: 'a folder without truth.json',
    remedy: 'name another folder with --out',
  });
}

/** Removes what earlier runs left behind that were stopped half way; runs still at work are left alone. */
function sweep(parent: string, prefix: string): void {
  if (!existsSync(parent)) return;
  for (const name of readdirSync(parent)) {
    const pid = name.startsWith(prefix) ? Number.parseInt(name.slice(prefix.length), 10) : Number.NaN;
    if (!(pid > 0)) continue;
    try {
      process.kill(pid, 0);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ESRCH') continue;
      rmSync(join(parent, name), { recursive: true, force: true });
    }
  }
}

export interface Staging {
  readonly folder: string;
  write(path: string, content: string | Uint8Array): void;
  /** Creates a folder of the campaign and returns its path. */
  subfolder(path: string): string;
  /** Puts the finished campaign in its place. */
  publish(): void;
  /** Removes what was written so far. */
  discard(): void;
}

/** @throws DemoFault where the place is taken by something else or cannot be written. */
export function stageCampaign(out: string): Staging {
  const target = resolve(out);
  refuseForeign(target);
  const prefix = `.${basename(target)}.partial-`;
  const folder = join(dirname(target), `${prefix}${process.pid}`);
  try {
    sweep(dirname(target), prefix);
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true });
  } catch (error) {
    throw new DemoFault({
      file: dirname(target),
      expected: 'a folder that can be written',
      found: error instanceof Error ? error.message : String(error),
    });
  }
  const subfolder = (path: string): string => {
    mkdirSync(join(folder, path), { recursive: true });
    return join(folder, path);
  };
  return {
    folder,
    subfolder,
    write: (path, content) => {
      subfolder(dirname(path));
      writeFileSync(join(folder, path), content);
    },
    publish: () => {
      const old = `${folder}.old`;
      if (existsSync(target)) renameSync(target, old);
      renameSync(folder, target);
      rmSync(old, { recursive: true, force: true });
    },
    discard: () => rmSync(folder, { recursive: true, force: true }),
  };
}
