/** Writing files so that a reader never meets half of one, and faults of the disk in plain words. */
import { mkdir, rename, rm, writeFile } from 'node:fs/promises';
import { dirname } from 'node:path';
import type { z } from 'zod';
import { InputFault } from '../../shared/errors.ts';

/**
 * Checks a value against its schema and writes it as JSON, beside first and then renamed.
 * @throws InputFault when the disk refuses; ZodError when the value is not what the schema says (our own fault).
 */
export async function writeArtefact<S extends z.ZodType>(
  path: string,
  schema: S,
  value: z.input<S>,
): Promise<void> {
  const checked = schema.parse(value);
  await writeAtomically(path, `${JSON.stringify(checked, null, 1)}\n`);
}

export async function writeAtomically(path: string, data: string | Uint8Array): Promise<void> {
  const beside = `${path}.part`;
  try {
    await mkdir(dirname(path), { recursive: true });
    await writeFile(beside, data);
    await rename(beside, path);
  } catch (error) {
    await rm(beside, { force: true }).catch(() => {});
    throw diskFault(error, path);
  }
}

/** Turns a refusal of the file system into an InputFault; anything else is passed through unchanged. */
export function diskFault(error: unknown, path: string): unknown {
  const code = (error as NodeJS.ErrnoException | null)?.code;
  // libvips reports the system's words without a code.
  const text = error instanceof Error ? error.message : String(error);
  if (
    code === 'ENOSPC' ||
    code === 'EDQUOT' ||
    /no space left on device|disk quota exceeded|write error/i.test(text)
  ) {
    return new InputFault(
      {
        tag: 'no-space',
        file: path,
        expected: 'room to write',
        found: 'a full disk',
        remedy:
          'Free some space, or choose another place with --out; `stratafolio check` estimates the size.',
      },
      { cause: error },
    );
  }
  if (
    code === 'EACCES' ||
    code === 'EPERM' ||
    code === 'EROFS' ||
    /permission denied|read-only file system/i.test(text)
  ) {
    return new InputFault(
      {
        tag: 'no-permission',
        file: path,
        expected: 'a folder that may be written to',
        found: code === 'EROFS' ? 'a read-only file system' : 'no permission to write',
        remedy: 'Change the permissions, or choose another place with --out.',
      },
      { cause: error },
    );
  }
  if (code === 'ENOTDIR' || code === 'EEXIST' || code === 'EISDIR' || code === 'ENAMETOOLONG') {
    return new InputFault(
      {
        tag: 'inconsistent',
        file: path,
        expected: 'a place for a folder',
        found: code === 'ENAMETOOLONG' ? 'a name that is too long' : 'a file in the way',
        remedy: 'Choose another place with --out.',
      },
      { cause: error },
    );
  }
  return error;
}
