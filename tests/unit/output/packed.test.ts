/**
 * Packed pyramids against other readers of TIFF: libtiff through sharp for greys, geotiff for masks (libvips takes no
 * tiles of one bit), and tiffinfo of Debian's libtiff-tools where it is installed. Damaged files must end in an error, whatever is damaged.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fromFile } from 'geotiff';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { PackedReader } from '../../../pipeline/output/packed/read-packed.ts';
import { packPyramid } from '../../../pipeline/output/packed/write-packed.ts';
import { type PictureData, writePyramid } from '../../../pipeline/output/pyramid.ts';
import { PackedFault, readDirectory } from '../../../shared/packed/directory.ts';
import { spliceJpeg } from '../../../shared/packed/jpeg.ts';
import { levelSize, maximumLevel } from '../../../shared/pyramid.ts';

const folder = mkdtempSync(join(tmpdir(), 'stratafolio-packed-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const SIZE = { width: 700, height: 523, tilePx: 256 };
const TOP = maximumLevel(SIZE);
/** A round field, as laminography leaves it, and a slot inside. */
const holds = (column: number, row: number): boolean =>
  (column - 350) ** 2 + (row - 261) ** 2 < 255 ** 2 && !(column > 300 && column < 330 && row > 99);
const greyAt = (column: number, row: number): number =>
  120 + Math.round(60 * Math.sin(column / 9) * Math.cos(row / 13)) + ((column * 31 + row * 17) % 11);

function picture(withGaps: boolean, { width, height } = SIZE): PictureData {
  const channels = withGaps ? 2 : 1;
  const bytes = new Uint8Array(width * height * channels);
  for (let p = 0; p < width * height; p++) {
    const [column, row] = [p % width, Math.floor(p / width)];
    bytes[p * channels] = withGaps && !holds(column, row) ? 0 : greyAt(column, row);
    if (withGaps) bytes[2 * p + 1] = holds(column, row) ? 255 : 0;
  }
  return { bytes, channels, width, height };
}

/** A mask, as geotiff reads it. */
async function maskOf(path: string, n: number): Promise<Uint8Array> {
  const file = await fromFile(path);
  const [bits] = (await (await file.getImage(n)).readRasters()) as unknown as [Uint8Array];
  file.close();
  return Uint8Array.from(bits, (bit) => 255 * bit);
}

/** A whole level, put together of our reader's tiles. */
async function assembled(path: string, level: number): Promise<Uint8Array> {
  const reader = await PackedReader.open(path);
  try {
    return await assemble(reader, level);
  } finally {
    await reader.close();
  }
}

async function assemble(reader: PackedReader, level: number): Promise<Uint8Array> {
  const { width, height } = levelSize(SIZE, level);
  const whole = new Uint8Array(4 * width * height);
  for (let row = 0; row * 256 < height; row++)
    for (let column = 0; column * 256 < width; column++) {
      const tile = await reader.tile(level, column, row);
      for (let y = 0; y < tile.height; y++)
        whole.set(
          tile.rgba.subarray(4 * y * tile.width, 4 * (y + 1) * tile.width),
          4 * ((row * 256 + y) * width + column * 256),
        );
    }
  return whole;
}

const channel = (rgba: Uint8Array, at: number): Uint8Array =>
  Uint8Array.from({ length: rgba.length / 4 }, (_, p) => rgba[4 * p + at]!);

/** One directory of the file, as libtiff reads it. */
const page = (path: string, n: number) =>
  sharp(path, { page: n }).toColourspace('b-w').raw().toBuffer({ resolveWithObject: true });

let lossy: string;
let lossless: string;
let plain: string;
beforeAll(async () => {
  [lossy, lossless, plain] = ['lossy', 'lossless', 'plain'].map((n) => join(folder, `${n}.tif`)) as [
    string,
    string,
    string,
  ];
  await writePyramid(lossy, picture(true), 'lossy');
  await writePyramid(lossless, picture(true), 'lossless');
  await writePyramid(plain, picture(false), 'lossy');
});

describe('a packed pyramid', () => {
  it.each(['lossy', 'lossless'])('%s: libtiff reads the greys and masks that we read', async (name) => {
    const path = join(folder, `${name}.tif`);
    const { pages } = await sharp(path).metadata();
    expect(pages).toBe(6);
    for (let n = 0; n < 3; n++) {
      const ours = await assembled(path, TOP - n);
      const greys = await page(path, 2 * n);
      expect([greys.info.width, greys.info.height]).toEqual(Object.values(levelSize(SIZE, TOP - n)));
      expect(Buffer.compare(await maskOf(path, 2 * n + 1), channel(ours, 3))).toBe(0);
      expect(Buffer.compare(greys.data, channel(ours, 0))).toBe(0);
    }
  });

  it('keeps drawings and places without data to the bit, greys to a few steps', async () => {
    const exact = await assembled(lossless, TOP);
    const close = await assembled(lossy, TOP);
    let [squares, count] = [0, 0];
    for (let p = 0; p < SIZE.width * SIZE.height; p++) {
      const [column, row] = [p % SIZE.width, Math.floor(p / SIZE.width)];
      const held = holds(column, row) ? 255 : 0;
      if (exact[4 * p + 3] !== held || close[4 * p + 3] !== held)
        throw new Error(`mask at ${column}, ${row}`);
      if (held === 0) continue;
      if (exact[4 * p] !== greyAt(column, row)) throw new Error(`grey at ${column}, ${row}`);
      squares += (close[4 * p]! - greyAt(column, row)) ** 2;
      count++;
    }
    expect(Math.sqrt(squares / count)).toBeLessThan(3);
  });

  it('has no masks where nothing is missing, and is the same whenever it is written', async () => {
    expect((await sharp(plain).metadata()).pages).toBe(3);
    const again = join(folder, 'again.tif');
    await writePyramid(again, picture(true), 'lossy');
    expect(readFileSync(again).equals(readFileSync(lossy))).toBe(true);
  });

  it('halves by the mean of the pixels that have data', async () => {
    const half = await assembled(lossless, TOP - 1);
    const { width } = levelSize(SIZE, TOP - 1);
    for (const [column, row] of [
      [20, 130],
      [149, 60],
      [165, 70],
      [200, 17],
    ] as const) {
      const corners = [0, 1].flatMap((y) => [0, 1].map((x) => [2 * column + x, 2 * row + y] as const));
      const held = corners.filter(([c, r]) => holds(c, r));
      const at = 4 * (row * width + column);
      expect(half[at + 3]).toBe(held.length >= 2 ? 255 : 0);
      if (held.length >= 2)
        expect(half[at]).toBe(Math.round(held.reduce((sum, [c, r]) => sum + greyAt(c, r), 0) / held.length));
    }
  });

  it('has a still of its coarsest level beside it', async () => {
    const { width, height, hasAlpha } = await sharp(join(folder, 'lossy.webp')).metadata();
    expect({ width, height, hasAlpha }).toEqual({ width: 175, height: 131, hasAlpha: true });
  });

  it.each([
    [1, 1],
    [256, 256],
    [257, 3],
    [31, 600],
  ])('of %i x %i px reads back', async (width, height) => {
    const path = join(folder, `${width}x${height}.tif`);
    const own = picture(false, { width, height, tilePx: 256 });
    await writePyramid(path, own, 'lossless');
    const { data, info } = await page(path, 0);
    expect([info.width, info.height]).toEqual([width, height]);
    expect(Buffer.compare(data, own.bytes)).toBe(0);
    const reader = await PackedReader.open(path);
    const last = reader.directory.levels.at(-1)!;
    expect([last.columns, last.rows]).toEqual([1, 1]);
    await reader.close();
  });

  it.skipIf(!existsSync('/usr/bin/tiffinfo'))('has nothing that libtiff-tools complain of', () => {
    const words = execFileSync('/usr/bin/tiffinfo', ['-D', lossy], { encoding: 'utf8', stdio: 'pipe' });
    expect(words.match(/Subfile Type: .*/g)).toEqual([
      expect.stringContaining('(0 = 0x0)'),
      expect.stringMatching(/transparency mask/),
      expect.stringMatching(/reduced-resolution image/),
      expect.stringMatching(/reduced-resolution image\/transparency mask/),
      expect.stringMatching(/reduced-resolution image/),
      expect.stringMatching(/reduced-resolution image\/transparency mask/),
    ]);
  });

  it('tells all that is needed to show it in its first bytes', () => {
    const bytes = readFileSync(lossy);
    const directory = readDirectory(bytes.subarray(0, 48 * 1024));
    if (typeof directory === 'number') throw new Error('the directory is not whole');
    const { offsets, bytes: sizes } = directory.levels.at(-1)!.tiles;
    expect(offsets[0]! + sizes[0]!).toBeLessThan(48 * 1024);
  });
});

describe('a damaged packed pyramid', () => {
  it('cut off anywhere asks for more or says so', async () => {
    const bytes = readFileSync(lossy);
    const path = join(folder, 'cut.tif');
    for (let length = 0; length < bytes.length; length += 1 + Math.floor(bytes.length / 20)) {
      const found = readDirectory(bytes.subarray(0, length));
      if (typeof found === 'number') expect(found).toBeGreaterThan(length);
      writeFileSync(path, bytes.subarray(0, length));
      await expect(assembled(path, TOP)).rejects.toThrow(PackedFault);
    }
  });

  it('with any byte of its directories changed reads the same, reads otherwise, or is refused; nothing else', () => {
    const bytes = readFileSync(lossy);
    const front = 8 + 6 * (2 + 13 * 12 + 4) + 900;
    let refused = 0;
    const wrong: unknown[] = [];
    const other = Uint8Array.from(bytes.subarray(0, 1 << 16));
    for (let at = 0; at < front; at++)
      for (const value of [0, 1, 0x7f, 0xff]) {
        other[at] = value;
        try {
          const found = readDirectory(other);
          if (typeof found === 'number' && found > 1 << 22) wrong.push(at);
        } catch (error) {
          if (error instanceof PackedFault) refused++;
          else wrong.push(error);
        }
        other[at] = bytes[at]!;
      }
    expect(wrong).toEqual([]);
    expect(refused).toBeGreaterThan(500);
  });

  it('that would be larger than a file may be is refused with a word on what to do', async () => {
    const grey = new Uint8Array(300 * 200);
    const levels = [
      { width: 300, height: 200, grey, held: null },
      { width: 150, height: 100, grey: grey.subarray(0, 15_000), held: null },
    ];
    const size = (await packPyramid(levels, 'lossy', 256)).reduce((sum, piece) => sum + piece.length, 0);
    await expect(packPyramid(levels, 'lossy', 256, size)).resolves.toBeDefined();
    await expect(packPyramid(levels, 'lossy', 256, size - 1)).rejects.toMatchObject({
      kind: 'input',
      fields: { tag: 'limit', place: 'tiles: packed', remedy: expect.stringContaining('tiles: loose') },
    });
  });

  it('whose directories go round in a ring is refused', () => {
    const bytes = Uint8Array.from(readFileSync(plain));
    const view = new DataView(bytes.buffer);
    const end = 8 + 2 + 12 * view.getUint16(8, true);
    view.setUint32(end, 8, true);
    expect(() => readDirectory(bytes)).toThrow(PackedFault);
  });

  it('with a tile that states another size, more channels or no frame is refused before it is decoded', () => {
    const bytes = readFileSync(plain);
    const directory = readDirectory(bytes);
    if (typeof directory === 'number') throw new Error('the directory is not whole');
    const { tiles } = directory.levels[0]!;
    const tile = bytes.subarray(tiles.offsets[0], tiles.offsets[0]! + tiles.bytes[0]!);
    expect(spliceJpeg(directory.tables, tile, 256).length).toBe(tile.length + directory.tables!.length - 4);
    const frame = tile.indexOf(Buffer.from([0xff, 0xc0]));
    for (const [at, value] of [
      [0, 0],
      [frame, 0],
      [frame + 1, 0xe5],
      [frame + 5, 0xff],
      [frame + 7, 0xff],
      [frame + 9, 3],
    ] as const) {
      const other = Uint8Array.from(tile);
      other[at] = value;
      expect(() => spliceJpeg(directory.tables, other, 256)).toThrow(PackedFault);
    }
    expect(() => spliceJpeg(directory.tables, tile.subarray(0, 3), 256)).toThrow(PackedFault);
    expect(() => spliceJpeg(Uint8Array.of(1, 2, 3, 4, 5), tile, 256)).toThrow(PackedFault);
  });
});
