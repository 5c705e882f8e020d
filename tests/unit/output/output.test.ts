import { execFileSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { writeAtomically } from '../../../pipeline/output/files.ts';
import { formatBytes, formatSeconds } from '../../../pipeline/output/progress.ts';
import { writePyramid } from '../../../pipeline/output/pyramid.ts';
import { openStaging } from '../../../pipeline/output/staging.ts';
import { greyPicture } from '../../../pipeline/stages/plate/grey.ts';
import { splitRuns } from '../../../pipeline/stages/plate/plan-runs.ts';
import { verifyFolio, writeManifest } from '../../../pipeline/stages/publish/manifest.ts';
import { levelSize, maximumLevel, tileCounts, tileRectangle } from '../../../shared/pyramid.ts';

let work: string;
beforeAll(() => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-output-'));
});
afterAll(() => rmSync(work, { recursive: true, force: true }));

describe('numbers for people', () => {
  it('round time and size as one would say them', () => {
    expect([0.04, 59.9, 65, 3599.6, 7800].map(formatSeconds)).toEqual([
      '0.0 s',
      '59.9 s',
      '1 min 05 s',
      '1 h 00 min',
      '2 h 10 min',
    ]);
    expect([980, 12_300, 999_600, 4_520_000, 6.7e9].map(formatBytes)).toEqual([
      '980 B',
      '12.3 kB',
      '1.00 MB',
      '4.52 MB',
      '6.70 GB',
    ]);
  });
});

describe('pyramids', () => {
  const width = 700;
  const height = 300;

  it('have the levels, names and sizes of Deep Zoom, and the pixels that went in', async () => {
    const bytes = Uint8Array.from(
      { length: width * height },
      (_, n) => ((n % width) * 7 + Math.floor(n / width) * 3) & 255,
    );
    await writePyramid(join(work, 'render.dzi'), { bytes, channels: 1, width, height }, 'lossless');
    const size = { width, height, tilePx: 256 };
    const levels = readdirSync(join(work, 'render_files')).sort((a, b) => Number(a) - Number(b));
    expect(levels).toEqual(Array.from({ length: maximumLevel(size) + 1 }, (_, n) => String(n)));
    for (const level of levels.map(Number)) {
      const { columns, rows } = tileCounts(size, level);
      const names = readdirSync(join(work, 'render_files', String(level)));
      expect(names).toHaveLength(columns * rows);
      for (let column = 0; column < columns; column++)
        for (let row = 0; row < rows; row++) {
          const box = tileRectangle(size, level, column, row);
          const tile = await sharp(
            join(work, 'render_files', String(level), `${column}_${row}.webp`),
          ).metadata();
          expect([tile.width, tile.height]).toEqual([box.width, box.height]);
        }
    }
    expect(levelSize(size, 9)).toEqual({ width: 350, height: 150 });
    const box = tileRectangle(size, maximumLevel(size), 2, 1);
    const tile = await sharp(join(work, 'render_files', String(maximumLevel(size)), '2_1.webp'))
      .extractChannel(0)
      .raw()
      .toBuffer();
    for (let y = 0; y < box.height; y++)
      for (let x = 0; x < box.width; x++)
        expect(tile[y * box.width + x]).toBe(bytes[(y + box.y) * width + x + box.x]);
  });

  it.skipIf(!existsSync('/usr/bin/dwebp') && !existsSync('/usr/bin/convert-im6.q16'))(
    'are read alike by a second decoder (ImageMagick, Debian)',
    async () => {
      const path = join(work, 'second.dzi');
      const bytes = Uint8Array.from({ length: 64 * 64 }, (_, n) => (n * 5) & 255);
      await writePyramid(path, { bytes, channels: 1, width: 64, height: 64 }, 'lossless');
      const raw = execFileSync('/usr/bin/convert-im6.q16', [
        join(work, 'second_files', '6', '0_0.webp'),
        '-colorspace',
        'gray',
        '-depth',
        '8',
        'gray:-',
      ]);
      expect(Buffer.compare(raw, Buffer.from(bytes))).toBe(0);
    },
  );

  it('keep no data apart from black: transparency is lossless', async () => {
    const values = new Float32Array(width * height).fill(5);
    for (let n = 0; n < values.length; n++) if (n % width < 333) values[n] = Number.NaN;
    for (let n = 0; n < values.length; n++) if (n % width > 400) values[n] = 0;
    const picture = greyPicture(values, width, height, 0, 10, true);
    await writePyramid(join(work, 'plate.dzi'), picture, 'lossy');
    for (const column of [0, 1, 2]) {
      const { data, info } = await sharp(join(work, 'plate_files', '10', `${column}_0.webp`))
        .ensureAlpha()
        .raw()
        .toBuffer({ resolveWithObject: true });
      for (let n = 0; n < info.width * info.height; n++) {
        const x = (n % info.width) + 256 * column;
        expect(data[n * info.channels + info.channels - 1]).toBe(x < 333 ? 0 : 255);
        if (x > 410) expect(data[n * info.channels]).toBeLessThan(6);
      }
    }
  });

  it('say when the disk is full', async () => {
    await expect(
      writePyramid(
        '/dev/full/x.dzi',
        { bytes: new Uint8Array(4), channels: 1, width: 2, height: 2 },
        'lossy',
      ),
    ).rejects.toThrow();
  });
});

describe('greys', () => {
  it('are linear between black and white and clipped beyond', () => {
    const picture = greyPicture(Float32Array.from([-1, 0, 1, 2, 3, Number.NaN]), 6, 1, 0, 2, false);
    expect([...picture.bytes]).toEqual([0, 0, 128, 255, 255, 128]);
  });
});

describe('runs of plates', () => {
  it('cover all plates once', () => {
    for (const [count, runs] of [
      [10, 4],
      [3, 8],
      [1, 1],
      [170, 4],
    ] as const) {
      const split = splitRuns(count, runs);
      expect(split[0]![0]).toBe(0);
      expect(split.at(-1)![1]).toBe(count);
      split.slice(1).forEach(([first], n) => expect(first).toBe(split[n]![1]));
      expect(split.every(([first, end]) => end > first)).toBe(true);
    }
  });
});

describe('staging', () => {
  it('replaces an older folio only when the new one is whole, and refuses what is none', async () => {
    const target = join(work, 'folio');
    const first = await openStaging(target);
    writeFileSync(join(first.folder, 'a.txt'), 'one');
    await writeManifest(first.folder, { name: 'test', version: '0' });
    expect(existsSync(target)).toBe(false);
    await first.commit();
    expect(readFileSync(join(target, 'a.txt'), 'utf8')).toBe('one');

    const second = await openStaging(target);
    writeFileSync(join(second.folder, 'a.txt'), 'two');
    expect(readFileSync(join(target, 'a.txt'), 'utf8')).toBe('one');
    await second.discard();
    expect(readdirSync(work).filter((name) => name.startsWith('folio'))).toEqual(['folio']);

    mkdirSync(join(work, 'papers'));
    writeFileSync(join(work, 'papers', 'thesis.txt'), 'precious');
    await expect(openStaging(join(work, 'papers'))).rejects.toMatchObject({ tag: 'inconsistent' });
  });

  it('clears away what a killed build left', async () => {
    const target = join(work, 'killed');
    const gone = Number(execFileSync(process.execPath, ['-e', 'console.log(process.pid)']).toString());
    mkdirSync(`${target}.building-${gone}`);
    const staging = await openStaging(target);
    expect(existsSync(`${target}.building-${gone}`)).toBe(false);
    await staging.discard();
  });

  it('leaves nothing half-written when a file cannot be written', async () => {
    writeFileSync(join(work, 'a-file'), '');
    await expect(writeAtomically(join(work, 'a-file', 'x.json'), '{}')).rejects.toMatchObject({
      tag: 'inconsistent',
    });
    await writeAtomically(join(work, 'deep', 'x.json'), '{}');
    expect(readdirSync(join(work, 'deep'))).toEqual(['x.json']);
  });
});

describe('fixity', () => {
  it('names each damaged, missing and unlisted file; sha256sum agrees on the sums', async () => {
    const folder = join(work, 'fixity');
    mkdirSync(join(folder, 'data'), { recursive: true });
    for (const name of ['a', 'b', 'c', 'd']) writeFileSync(join(folder, `${name}.txt`), `text ${name}`);
    await writeManifest(folder, { name: 'test', version: '0' });
    const listed = JSON.parse(readFileSync(join(folder, 'data', 'manifest.json'), 'utf8')).files;
    // SHA-256 of "text a", by coreutils: printf 'text a' | sha256sum
    expect(listed[0]).toEqual({
      path: 'a.txt',
      bytes: 6,
      sha256: execFileSync('sh', ['-c', "printf 'text a' | sha256sum"]).toString().slice(0, 64),
    });
    expect((await verifyFolio(folder)).faults).toEqual([]);
    writeFileSync(join(folder, 'a.txt'), 'text A');
    writeFileSync(join(folder, 'b.txt'), 'longer text b');
    rmSync(join(folder, 'c.txt'));
    writeFileSync(join(folder, 'e.txt'), 'stranger');
    expect((await verifyFolio(folder)).faults).toEqual([
      'a.txt: damaged, the checksum differs',
      'b.txt: damaged, 13 bytes instead of 6',
      'c.txt: missing',
      'e.txt: unexpected, not in the manifest',
    ]);
  });
});
