/**
 * Which codec for the tiles of plates? Every tile of a few plates of the demo volume is encoded in each way and decoded
 * again: bytes, root-mean-square error in grey steps, error of the mean over 8 x 8 pixels (what a measurement averages),
 * and time. Needs the demo campaign (npm start makes it). Run by hand: node tests/bench/tile-format.bench.ts
 */
import { existsSync } from 'node:fs';
import sharp, { type Sharp } from 'sharp';
import { glob } from 'tinyglobby';
import { openVolume } from '../../pipeline/formats/volume/registry.ts';
import { percentile } from '../../pipeline/kernels/statistics.ts';
import { greyPicture } from '../../pipeline/stages/plate/grey.ts';
import { machine } from './harness.ts';

const FOLDER = new URL('../../demo-volume/campaign/', import.meta.url).pathname;
const TILE = 256;
const WAYS: Record<string, (tile: Sharp) => Sharp> = {
  'WebP 80, effort 1': (tile) => tile.webp({ quality: 80, effort: 1 }),
  'WebP 88, effort 0': (tile) => tile.webp({ quality: 88, effort: 0 }),
  'WebP 88, effort 1': (tile) => tile.webp({ quality: 88, effort: 1 }),
  'WebP 88, effort 4': (tile) => tile.webp({ quality: 88, effort: 4 }),
  'WebP 94, effort 1': (tile) => tile.webp({ quality: 94, effort: 1 }),
  'JPEG 80': (tile) => tile.jpeg({ quality: 80 }),
  'JPEG 88': (tile) => tile.jpeg({ quality: 88 }),
  'JPEG 92': (tile) => tile.jpeg({ quality: 92 }),
  PNG: (tile) => tile.png({ compressionLevel: 6 }),
};

if (!existsSync(FOLDER)) {
  console.log('The demo campaign is missing: node demo-volume/generate.ts');
  process.exit(0);
}
sharp.concurrency(1);
const files = (await glob('slices/fine/*.tif', { cwd: FOLDER, absolute: true })).sort();
const volume = await openVolume({ kind: 'tiff', files });
const { nx, ny, nz } = volume.shape;
const tiles: Buffer[] = [];
for (const share of [0.15, 0.4, 0.6, 0.8]) {
  const k = Math.floor(share * nz);
  const values = Float32Array.from(await volume.read({ k: [k, k + 1] }));
  const sorted = Float64Array.from(values).sort();
  const { bytes } = greyPicture(
    values,
    nx,
    ny,
    percentile(sorted, 0.0005),
    percentile(sorted, 0.9995),
    false,
  );
  const plate = sharp(bytes, { raw: { width: nx, height: ny, channels: 1 } });
  for (let y = 0; y + TILE <= ny; y += TILE)
    for (let x = 0; x + TILE <= nx; x += TILE)
      tiles.push(
        await plate
          .clone()
          .extract({ left: x, top: y, width: TILE, height: TILE })
          .extractChannel(0)
          .raw()
          .toBuffer(),
      );
}
await volume.close();

const BLOCK = 8;
function errors(before: Buffer, after: Buffer): [number, number] {
  let squares = 0;
  let blockSquares = 0;
  for (let by = 0; by < TILE; by += BLOCK)
    for (let bx = 0; bx < TILE; bx += BLOCK) {
      let sum = 0;
      for (let y = by; y < by + BLOCK; y++)
        for (let x = bx; x < bx + BLOCK; x++) {
          const d = after[y * TILE + x]! - before[y * TILE + x]!;
          squares += d * d;
          sum += d;
        }
      blockSquares += (sum / BLOCK ** 2) ** 2;
    }
  return [squares / TILE ** 2, blockSquares / (TILE / BLOCK) ** 2];
}

console.log(
  `| ${tiles.length} tiles of ${TILE} px | bytes per pixel | rms error, grey steps | of 8 x 8 means | ms per tile |\n| --- | --- | --- | --- | --- |`,
);
for (const [name, encode] of Object.entries(WAYS)) {
  let bytes = 0;
  let squares = 0;
  let blocks = 0;
  const times: number[] = [];
  for (const tile of tiles) {
    const from = performance.now();
    const coded = await encode(sharp(tile, { raw: { width: TILE, height: TILE, channels: 1 } })).toBuffer();
    times.push(performance.now() - from);
    bytes += coded.length;
    const [s, b] = errors(tile, await sharp(coded).extractChannel(0).raw().toBuffer());
    squares += s;
    blocks += b;
  }
  const n = tiles.length;
  const median = times.sort((a, b) => a - b)[n >> 1]!;
  console.log(
    `| ${name} | ${(bytes / n / TILE ** 2).toFixed(3)} | ${Math.sqrt(squares / n).toFixed(2)} | ${Math.sqrt(blocks / n).toFixed(3)} | ${median.toFixed(1)} |`,
  );
}
console.log(`\n${machine()}`);
