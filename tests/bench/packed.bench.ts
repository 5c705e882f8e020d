/**
 * Packed pyramids beside Debian's `vips dzsave` (libvips-tools) with the same codec and quality on the same pictures, one
 * processor each: elapsed time, and processor seconds of the process and its children, which other work changes less. Ours
 * writes the mask and the still too, and the plate stage's own loose tiles are shown beside them.
 * Run by hand: node tests/bench/packed.bench.ts [side] [pictures] [rounds]
 */
import { spawnSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { tilePixels } from '../../pipeline/output/packed/tile-pixels.ts';
import { type PictureData, plateTiles, writePyramid } from '../../pipeline/output/pyramid.ts';
import { maximumLevel } from '../../shared/pyramid.ts';
import { generator, machine } from './harness.ts';

const [side = 2048, pictures = 4, rounds = 3] = process.argv.slice(2).map(Number);
const TICKS = 100;
if (!existsSync('/usr/bin/vips')) {
  console.log('The peer is missing: install the Debian package libvips-tools.');
  process.exit(0);
}
sharp.concurrency(1);
sharp.cache(false);
const work = mkdtempSync(join(tmpdir(), 'stratafolio-bench-'));
const random = generator(11);
/** Wires on a pitch under noise, as a plate has them; in every second one a round field. */
const inputs = Array.from({ length: pictures }, (_, n) => {
  const grey = new Uint8Array(side * side);
  const both = new Uint8Array(2 * side * side);
  for (let p = 0; p < grey.length; p++) {
    const [column, row] = [p % side, Math.floor(p / side)];
    grey[p] = 90 + ((column + 7 * n) % 24 < 10 ? 70 : 0) + 40 * (random() + random() - 1);
    both[2 * p] = grey[p]!;
    const inside = (column - side / 2) ** 2 + (row - side / 2) ** 2 < (side / 2) ** 2;
    both[2 * p + 1] = n % 2 === 0 || inside ? 255 : 0;
  }
  const path = join(work, `in${n}.pgm`);
  writeFileSync(path, Buffer.concat([Buffer.from(`P5\n${side} ${side}\n255\n`), grey]));
  const held = n % 2 === 0 ? null : Uint8Array.from(grey, (_, p) => both[2 * p + 1]! >> 7);
  // As the plate stage has them.
  const planes = { width: side, height: side, grey, held };
  return {
    path,
    grey,
    planes,
    picture: { bytes: both, channels: 2, width: side, height: side } as PictureData,
  };
});

/** Processor seconds of this process, and of its ended children. @source proc(5), /proc/self/stat */
function processor(): number {
  const text = readFileSync('/proc/self/stat', 'utf8');
  const fields = text
    .slice(text.lastIndexOf(')') + 2)
    .split(' ')
    .slice(11, 15);
  return fields.reduce((sum, ticks) => sum + Number(ticks), 0) / TICKS;
}

const peer = (suffix: string) => (folder: string) => {
  for (const [n, { path }] of inputs.entries()) {
    const { status } = spawnSync(
      '/usr/bin/vips',
      [
        ...['dzsave', path, join(folder, String(n)), '--overlap', '0', '--tile-size', '256'],
        ...['--depth', 'onepixel', '--suffix', suffix],
      ],
      { env: { ...process.env, VIPS_CONCURRENCY: '1' }, stdio: 'inherit' },
    );
    if (status !== 0) throw new Error(`vips: ${status}`);
  }
};
const ours = (ending: string) => async (folder: string) => {
  for (const [n, { picture, planes }] of inputs.entries())
    await writePyramid(join(folder, `${n}.${ending}`), ending === 'tif' ? planes : picture, 'lossy');
};
const contenders: Record<string, (folder: string) => Promise<void> | void> = {
  'packed (JPEG 92, masks, still)': ours('tif'),
  'vips dzsave, JPEG 92': peer('.jpg[Q=92]'),
  'loose (WebP 88, opacity)': ours('dzi'),
  'vips dzsave, WebP 88': peer('.webp[Q=88,effort=1,alpha_q=100]'),
};
const times = new Map<string, { elapsed: number[]; processor: number[]; bytes: number; files: number }>();
for (let round = 0; round <= rounds; round++)
  for (const [name, work_] of Object.entries(contenders)) {
    const folder = join(work, 'out');
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder);
    const [began, before] = [performance.now(), processor()];
    await work_(folder);
    const spent = { elapsed: performance.now() - began, processor: 1000 * (processor() - before) };
    const files = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .map((file) => statSync(join(folder, file)))
      .filter((file) => file.isFile());
    const all = times.get(name) ?? { elapsed: [], processor: [], bytes: 0, files: files.length };
    all.bytes = files.reduce((sum, file) => sum + file.size, 0);
    times.set(name, all);
    // The first round warms up.
    if (round > 0) {
      all.elapsed.push(spent.elapsed);
      all.processor.push(spent.processor);
    }
  }
const median = (list: readonly number[]): number => [...list].sort((a, b) => a - b)[list.length >> 1]!;

/** Root mean square of the greys lost, and of the means of 8 x 8 pixels, in the first picture at full resolution. */
async function lost(ending: 'tif' | 'dzi'): Promise<[number, number]> {
  await writePyramid(join(work, `lost.${ending}`), inputs[0]!.picture, 'lossy');
  const tiles = plateTiles(true, ending === 'tif' ? 'packed' : 'loose');
  const level = maximumLevel({ width: side, height: side, tilePx: 256 });
  const { rgba, width } = await tilePixels(work, `lost.${ending}`, tiles, level, 1, 1);
  const means = new Float64Array((width / 8) ** 2);
  let squares = 0;
  for (let p = 0; p < width * width; p++) {
    const [column, row] = [p % width, Math.floor(p / width)];
    const error = rgba[4 * p]! - inputs[0]!.grey[(256 + row) * side + 256 + column]!;
    squares += error * error;
    means[(row >> 3) * (width / 8) + (column >> 3)]! += error / 64;
  }
  const ofMeans = means.reduce((sum, mean) => sum + mean * mean, 0) / means.length;
  return [Math.sqrt(squares / width ** 2), Math.sqrt(ofMeans)];
}

console.log(`${pictures} plates of ${side} x ${side}, one processor\n`);
console.log('| | elapsed, ms | processor, ms | bytes per pixel | files |\n| --- | --- | --- | --- | --- |');
for (const [name, { elapsed, processor, bytes, files }] of times)
  console.log(
    `| ${name} | ${median(elapsed).toFixed(0)} (${Math.min(...elapsed).toFixed(0)} to ${Math.max(...elapsed).toFixed(0)}) | ${median(processor).toFixed(0)} | ${(bytes / pictures / side ** 2).toFixed(3)} | ${files} |`,
  );
const ratio = (a: string, b: string, of: 'elapsed' | 'processor'): string =>
  (median(times.get(b)![of]) / median(times.get(a)![of])).toFixed(2);
const names = Object.keys(contenders) as [string, string, string, string];
for (const by of ['elapsed', 'processor'] as const)
  console.log(
    `packed, times faster by ${by}: than its peer ${ratio(names[0], names[1], by)}, than WebP dzsave ${ratio(names[0], names[3], by)}, than loose ${ratio(names[0], names[2], by)}`,
  );
for (const ending of ['tif', 'dzi'] as const) {
  const [pixels, means] = await lost(ending);
  console.log(`${ending}: rms error ${pixels.toFixed(2)} grey steps, of 8 x 8 means ${means.toFixed(3)}`);
}
rmSync(work, { recursive: true, force: true });
console.log(`\n${machine()}, load ${loadavg()[0]!.toFixed(1)}`);
