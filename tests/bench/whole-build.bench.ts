/**
 * A whole build beside `vips dzsave` alone over the slices of the same volume, with the same tiles: processor seconds,
 * which other work on the machine changes little, elapsed seconds and peak memory. The volume is noise over bars, its
 * slices 16-bit TIFF, tilted by half a degree and placed by landmarks, without a drawing.
 * Run by hand: node tests/bench/whole-build.bench.ts [side] [slices] [threads] [loose | packed]
 */
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { generator, machine, watchPeak } from './harness.ts';

const [side = 512, depth = 64, threads = 2] = process.argv.slice(2, 5).map(Number);
const [, , , , , tiles = 'loose'] = process.argv;
const CLI = join(import.meta.dirname, '..', '..', 'pipeline', 'cli.ts');
const TICKS = 100;
const work = mkdtempSync(join(tmpdir(), 'stratafolio-whole-'));

async function makeCampaign(): Promise<string> {
  const folder = join(work, 'campaign');
  mkdirSync(join(folder, 'slices'), { recursive: true });
  const random = generator(side + depth);
  const noise = Float32Array.from({ length: side * side + depth * 977 }, () => 9000 * random());
  for (let k = 0; k < depth; k++) {
    const slice = Uint16Array.from(
      { length: side * side },
      (_, n) => ((n % 24) + (k % 40) / 4 < 14 ? 30_000 : 20_000) + noise[n + 977 * k]!,
    );
    await sharp(slice, { raw: { width: side, height: side, channels: 1 } })
      .toColourspace('grey16')
      .tiff({ compression: 'none' })
      .toFile(join(folder, 'slices', `s${String(k).padStart(4, '0')}.tif`));
  }
  const share = (f: number, most: number) => Math.round(f * (most - 1));
  const rows = [
    [0, 0, 0],
    [1, 0, 0.05],
    [0, 1, 0.1],
    [1, 1, 0.6],
    [0.5, 0.06, 0.9],
    [0.06, 0.8, 0.4],
  ].map(([a, b, c]) => [share(a!, side), share(b!, side), share(c!, depth)]);
  const csv = rows
    .map(([i, j, k]) => [i, j, k, 0.02 * i!, 10 - 0.02 * j!, 0.02 * k! + 0.02 * 0.0087 * i!].join(','))
    .join('\n');
  writeFileSync(join(folder, 'landmarks.csv'), `i,j,k,x_um,y_um,z_um\n${csv}\n`);
  writeFileSync(
    join(folder, 'campaign.yaml'),
    `stratafolio: 1\ntitle: Whole build\nchip: { name: none }\ntiles: ${tiles}\nscans:\n  - id: a\n` +
      '    volume: { files: "slices/*.tif" }\n    voxel_nm: 20\n    placement: { landmarks: landmarks.csv }\n',
  );
  return folder;
}

interface Cost {
  processor: number;
  elapsed: number;
  peakMb: number;
}

/** Runs a program to its end. What it and its children used is told by /usr/bin/time's source: wait4, through Node. */
async function costOf(command: string, args: readonly string[], env = process.env): Promise<Cost> {
  const before = childTicks();
  const began = performance.now();
  const child = spawn(command, args, { env, stdio: ['ignore', 'ignore', 'pipe'] });
  let said = '';
  child.stderr.on('data', (text) => {
    said = (said + text).slice(-2000);
  });
  const peakOf = watchPeak(child.pid!);
  const code = await new Promise<number | null>((done) => child.on('exit', done));
  const peakMb = peakOf();
  if (code !== 0) throw new Error(`${command}: ${code}\n${said}`);
  return { processor: childTicks() - before, elapsed: (performance.now() - began) / 1000, peakMb };
}

/** Seconds that ended children of this process used. @source proc(5), /proc/self/stat: cutime and cstime */
function childTicks(): number {
  const text = readFileSync('/proc/self/stat', 'utf8');
  const fields = text.slice(text.lastIndexOf(')') + 2).split(' ');
  return (Number(fields[13]) + Number(fields[14])) / TICKS;
}

async function dzsave(folder: string, suffix: string): Promise<Cost> {
  const out = join(work, 'peer');
  rmSync(out, { recursive: true, force: true });
  mkdirSync(out);
  const slices = readdirSync(join(folder, 'slices'));
  let next = 0;
  let peakMb = 0;
  const before = childTicks();
  const began = performance.now();
  const lane = async (): Promise<void> => {
    while (next < slices.length) {
      const name = slices[next++]!;
      const args = ['dzsave', join(folder, 'slices', name), join(out, name.slice(0, -4))];
      const options = ['--overlap', '0', '--tile-size', '256', '--depth', 'onepixel', '--suffix', suffix];
      const cost = await costOf('/usr/bin/vips', [...args, ...options], {
        ...process.env,
        VIPS_CONCURRENCY: '1',
      });
      peakMb = Math.max(peakMb, cost.peakMb);
    }
  };
  await Promise.all(Array.from({ length: threads }, lane));
  return { processor: childTicks() - before, elapsed: (performance.now() - began) / 1000, peakMb };
}

try {
  const folder = await makeCampaign();
  const build = (...more: string[]) =>
    costOf(process.execPath, [CLI, 'build', folder, '--jobs', String(threads), ...more]);
  const data = await build('--data-only', '--force');
  const forced = await build('--force');
  // What the campaign keeps is gone; the program of the pages belongs to the machine.
  rmSync(join(folder, '.stratafolio-cache'), { recursive: true });
  const whole = await build();
  const again = await build();
  const webp = await dzsave(folder, '.webp[Q=88,effort=1,alpha_q=100]');
  const jpeg = tiles === 'packed' ? await dzsave(folder, '.jpg[Q=92]') : null;
  const row = (name: string, { processor, elapsed, peakMb }: Cost) =>
    console.log(
      `| ${name} | ${processor.toFixed(1)} | ${(processor / webp.processor).toFixed(2)} | ${elapsed.toFixed(1)} | ${peakMb > 0 ? peakMb.toFixed(0) : ''} |`,
    );
  console.log(
    `${side} x ${side} x ${depth}, ${threads} threads, ${tiles} tiles\n\n| | processor, s | of dzsave's | elapsed, s | peak memory, MB |\n| --- | --- | --- | --- | --- |`,
  );
  row('vips dzsave of every slice, WebP 88', webp);
  if (jpeg) row('vips dzsave of every slice, JPEG 92', jpeg);
  row('data of the folio', data);
  row('whole folio, pages too', whole);
  row('whole folio, and the program of its pages', forced);
  row('the same again, nothing changed', again);
  console.log(`\n${machine()}, load ${loadavg()[0]!.toFixed(1)}`);
} finally {
  rmSync(work, { recursive: true, force: true });
}
