/** However many slices a series has, only a few of its files are open at a time. */
import { readdirSync, readlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { FileHandles } from '../../../pipeline/formats/volume/file-handles.ts';
import { openTiffStack } from '../../../pipeline/formats/volume/tiff.ts';
import { isFault } from '../../../shared/errors.ts';
import { handMadeTiff, plainEntries } from '../../fixtures/volume/hand-made-tiff.ts';
import { scratchFolder } from '../../fixtures/volume/stacks.ts';

const { folder, remove } = scratchFolder();
const COUNT = 60;
const files = Array.from({ length: COUNT }, (_, n) => join(folder, `slice-${n}.tif`));
const isLinux = process.platform === 'linux';
const note = isLinux ? '' : ' (skipped: only Linux tells which files are open)';

/** Files of the scratch folder that this process has open, as the system counts them. */
function openNow(): number {
  const links = readdirSync('/proc/self/fd').map((fd) => {
    try {
      return readlinkSync(`/proc/self/fd/${fd}`);
    } catch {
      return ''; // Closed since it was listed.
    }
  });
  return links.filter((link) => link.startsWith(folder)).length;
}

beforeAll(() => {
  files.forEach((file, n) => {
    writeFileSync(file, handMadeTiff({ entries: plainEntries() }, new Uint8Array(64).fill(n)));
  });
});
afterAll(remove);

describe('open files', () => {
  it.skipIf(!isLinux)(`stay few while all are read at once${note}`, async () => {
    const handles = new FileHandles({ limit: 5 });
    let most = 0;
    const firsts = await Promise.all(
      [...files, ...files].map(async (file) => {
        const voxel = new Uint8Array(1);
        const length = await handles.lengthOf(file);
        await handles.read(file, length - 1, voxel);
        most = Math.max(most, openNow());
        return voxel[0];
      }),
    );
    expect(firsts).toEqual([...files, ...files].map((_, n) => n % COUNT));
    expect(most).toBeGreaterThan(0);
    expect(most).toBeLessThanOrEqual(5);
    await handles.close();
    expect(openNow()).toBe(0);
  });

  it.skipIf(!isLinux)(`are closed with the stack, and after a fault${note}`, async () => {
    const source = await openTiffStack(files);
    expect(openNow()).toBeLessThanOrEqual(16);
    const voxels = await source.read({ k: [0, COUNT], j: [0, 1], i: [0, 1] });
    expect([...voxels]).toEqual([...files.keys()]);
    expect(openNow()).toBeLessThanOrEqual(16);
    await source.close();
    expect(openNow()).toBe(0);
    await expect(openTiffStack([...files, join(folder, 'none.tif')])).rejects.toThrow('no such file');
    expect(openNow()).toBe(0);
  });

  it('a file that cannot be opened does not keep its place', async () => {
    const handles = new FileHandles({ limit: 1 });
    for (let n = 0; n < 3; n++) {
      const fault = await handles
        .read(join(folder, 'none.tif'), 0, new Uint8Array(1))
        .catch((e: unknown) => e);
      expect(isFault(fault, 'missing-file')).toBe(true);
    }
    await handles.read(files[3], 0, new Uint8Array(1));
    await handles.close();
    await expect(handles.read(files[3], 0, new Uint8Array(1))).rejects.toThrow('closed');
  });
});
