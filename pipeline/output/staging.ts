/** A folio is built beside its place and moved there when it is whole, so that an older one stays good until then. */
import { access, constants, mkdir, readdir, rename, rm, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { MANIFEST_PATH } from '../../shared/artefacts/manifest.ts';
import { InputFault } from '../../shared/errors.ts';
import { diskFault } from './files.ts';

export interface Staging {
  /** Folder to build in. */
  readonly folder: string;
  /** Puts the finished folio in its place; the older one goes only then. */
  commit(): Promise<void>;
  /** Removes what was built so far. */
  discard(): Promise<void>;
}

const MARK = '.building-';

/**
 * @param target where the finished folio shall stand
 * @throws InputFault when something that is no folio stands there, or the place may not be written to
 */
export async function openStaging(target: string): Promise<Staging> {
  await refuseStrangers(target);
  const parent = dirname(target);
  const folder = `${target}${MARK}${process.pid}`;
  try {
    await mkdir(parent, { recursive: true });
    await access(parent, constants.W_OK);
    await removeStale(parent, basename(target));
    await mkdir(folder);
  } catch (error) {
    throw diskFault(error, target);
  }
  return {
    folder,
    async commit() {
      const older = `${target}.older-${process.pid}`;
      const replaced = await rename(target, older).then(
        () => true,
        () => false,
      );
      try {
        await rename(folder, target);
      } catch (error) {
        if (replaced) await rename(older, target);
        throw diskFault(error, target);
      }
      if (replaced) await rm(older, { recursive: true, force: true });
    },
    discard: () => rm(folder, { recursive: true, force: true }),
  };
}

async function refuseStrangers(target: string): Promise<void> {
  const there = await stat(target).catch(() => null);
  if (!there) return;
  const entries = there.isDirectory() ? await readdir(target).catch(() => ['?']) : ['?'];
  if (entries.length === 0) return;
  const isFolio = await stat(join(target, MANIFEST_PATH)).catch(() => null);
  if (isFolio) return;
  throw new InputFault({
    tag: 'inconsistent',
    file: target,
    expected: 'an empty place, or an older folio to replace',
    found: there.isDirectory() ? 'a folder with other things in it' : 'a file',
    remedy: 'Choose another place with --out, or move what is there.',
  });
}

/** Leavings of builds that were killed: their number is that of a process that is gone. */
async function removeStale(parent: string, name: string): Promise<void> {
  for (const entry of await readdir(parent)) {
    if (!entry.startsWith(`${name}${MARK}`)) continue;
    const pid = Number(entry.slice(name.length + MARK.length));
    if (!Number.isInteger(pid) || isRunning(pid)) continue;
    await rm(join(parent, entry), { recursive: true, force: true });
  }
}

function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
