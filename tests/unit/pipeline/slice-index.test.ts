/** Checksums of volumes: of single slices, and of whole files for the record, from one reading. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { volumeContent } from '../../../pipeline/engine/slice-index.ts';
import { generator } from '../../fixtures/random.ts';

const work = mkdtempSync(join(tmpdir(), 'slice-index-'));
afterAll(() => rmSync(work, { recursive: true }));

/** @source sha256sum of GNU coreutils */
const sha256sum = (input: Buffer): string =>
  execFileSync('sha256sum', { input }).toString('utf8').split(' ')[0]!;

it('are those of sha256sum, of slices and of the whole, header and tail included, read or remembered', async () => {
  const random = generator(411);
  const [offset, sliceBytes, slices] = [37, 1000, 4];
  const bytes = Buffer.from(Array.from({ length: offset + sliceBytes * slices + 11 }, () => random() * 256));
  const file = join(work, 'volume.raw');
  writeFileSync(file, bytes);
  const index = join(work, 'index.json');
  const volume = { reading: 'raw', files: [file], raw: { offset, sliceBytes, slices } };
  for (let run = 0; run < 2; run++) {
    const { sums, files } = await volumeContent(volume, index, work);
    expect(files.get(file)).toEqual({ bytes: bytes.length, sha256: sha256sum(bytes) });
    expect(sums.get('volume.raw')).toEqual(
      [0, 1, 2, 3].map((k) =>
        sha256sum(bytes.subarray(offset + k * sliceBytes, offset + (k + 1) * sliceBytes)),
      ),
    );
  }
  const whole = await volumeContent({ ...volume, raw: null }, join(work, 'other.json'), work);
  expect(whole.sums.get('volume.raw')).toEqual([sha256sum(bytes)]);
  expect(whole.files.get(file)?.sha256).toBe(sha256sum(bytes));
});
