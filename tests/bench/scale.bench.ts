/**
 * Large volumes: a headerless 16-bit volume that is mostly holes on the disk (one row of eight is written, so that every
 * part of every slice shows something), built with one thread and with two. Prints peak memory, processor and elapsed
 * seconds, how long the plates alone took, and what was swapped out meanwhile. The aims: 1.5 GB at 2048 x 2048 x 256, an
 * 8 GB volume (2048 x 2048 x 1024) without swapping, 95 % of the ideal gain from one to two threads.
 * Run by hand, on a machine with nothing else to do: node tests/bench/scale.bench.ts [side] [slices] [loose | packed] [bound] [threads]
 * where the bound is that of --memory, such as 1500M, and threads are those of each build, 1,2 without it. The folder in TMPDIR needs an eighth of the volume and its folio.
 */
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { generator, machine, watchPeak } from './harness.ts';

const [side = 256, slices = 32] = process.argv.slice(2, 4).map(Number);
const [, , , , tiles = 'packed', bound = '1500M', threads = '1,2'] = process.argv;
const CLI = join(import.meta.dirname, '..', '..', 'pipeline', 'cli.ts');
const ROWS_PER_WRITTEN = 8;
const TICKS = 100;
const work = mkdtempSync(join(tmpdir(), 'stratafolio-scale-'));

async function makeCampaign(): Promise<string> {
  const folder = join(work, 'campaign');
  mkdirSync(folder);
  const random = generator(side + slices);
  const noise = Uint16Array.from({ length: 16 * side }, () => 9000 * random());
  const file = await open(join(folder, 'volume.raw'), 'w');
  await file.truncate(2 * side * side * slices);
  const row = new Uint16Array(side);
  for (let k = 0; k < slices; k++)
    for (let j = k % ROWS_PER_WRITTEN; j < side; j += ROWS_PER_WRITTEN) {
      const from = (j * 131 + k * 977) % (15 * side);
      for (let i = 0; i < side; i++) row[i] = ((i + k) % 24 < 10 ? 30_000 : 20_000) + noise[from + i]!;
      await file.write(row, 0, row.byteLength, 2 * (k * side * side + j * side));
    }
  await file.close();
  const last = side - 1;
  const places = [
    [0, 0, 0],
    [last, 0, 1],
    [0, last, slices - 1],
    [last, last, slices >> 1],
    [last >> 1, 3, slices - 2],
    [4, last >> 1, slices >> 2],
  ];
  // Half a degree of tilt: 0.0087.
  const rows = places.map(([i, j, k]) =>
    [i, j, k, 0.02 * i!, 50 - 0.02 * j!, 0.02 * k! + 0.02 * 0.0087 * i!].join(','),
  );
  writeFileSync(join(folder, 'landmarks.csv'), `i,j,k,x_um,y_um,z_um\n${rows.join('\n')}\n`);
  writeFileSync(
    join(folder, 'campaign.yaml'),
    `stratafolio: 1\ntitle: Large\nchip: { name: none }\ntiles: ${tiles}\nscans:\n  - id: a\n` +
      `    volume: { raw: volume.raw, shape: [${slices}, ${side}, ${side}], dtype: uint16le }\n` +
      '    voxel_nm: 20\n    placement: { landmarks: landmarks.csv }\n',
  );
  return folder;
}

/** Pages that the machine has written to its swap so far. @source proc(5), /proc/vmstat */
const swappedOut = (): number =>
  Number(/^pswpout (\d+)$/m.exec(readFileSync('/proc/vmstat', 'utf8'))?.[1] ?? 0);

/** Seconds that ended children of this process used. @source proc(5), /proc/self/stat: cutime and cstime */
function childSeconds(): number {
  const text = readFileSync('/proc/self/stat', 'utf8');
  const fields = text.slice(text.lastIndexOf(')') + 2).split(' ');
  return (Number(fields[13]) + Number(fields[14])) / TICKS;
}

async function build(folder: string, jobs: number) {
  const [began, before, swapped] = [performance.now(), childSeconds(), swappedOut()];
  const args = [CLI, 'build', folder, '--data-only', '--force', '--memory', bound, '--jobs', String(jobs)];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  for (const stream of [child.stdout, child.stderr])
    stream.on('data', (text) => {
      said = (said + text).slice(-6000);
    });
  const peakOf = watchPeak(child.pid!);
  const code = await new Promise<number | null>((done) => child.on('exit', done));
  const peakMb = peakOf();
  if (code !== 0) throw new Error(`build: ${code}\n${said}`);
  const [, minutes, seconds] =
    /plates (?:(\d+) min )?([\d.]+) s/.exec(/Times:.*/.exec(said)?.[0] ?? '') ?? [];
  return {
    ...{ jobs, peakMb, processor: childSeconds() - before, elapsed: (performance.now() - began) / 1000 },
    ...{ plates: 60 * Number(minutes ?? 0) + Number(seconds), swapped: swappedOut() - swapped },
  };
}

try {
  const folder = await makeCampaign();
  const { size, blocks } = statSync(join(folder, 'volume.raw'));
  console.log(
    `${side} x ${side} x ${slices}: ${(size / 1e9).toFixed(2)} GB, ${((512 * blocks) / 1e9).toFixed(2)} GB of it on the disk; ${tiles} tiles, --memory ${bound}\n\n| threads | peak memory, MB | processor, s | elapsed, s | plates alone, s | pages swapped out |\n| --- | --- | --- | --- | --- | --- |`,
  );
  const times = new Map<number, number>();
  for (const wanted of threads.split(',').map(Number)) {
    const { jobs, peakMb, processor, elapsed, plates, swapped } = await build(folder, wanted);
    times.set(jobs, plates);
    console.log(
      `| ${jobs} | ${peakMb.toFixed(0)} | ${processor.toFixed(1)} | ${elapsed.toFixed(1)} | ${plates.toFixed(1)} | ${swapped} |`,
    );
  }
  const gain = (times.get(1) ?? Number.NaN) / (times.get(2) ?? Number.NaN);
  if (!Number.isNaN(gain))
    console.log(
      `\nTwo threads are ${gain.toFixed(2)} times as fast as one on the plates: ${(50 * gain).toFixed(0)} % of the ideal.`,
    );
  console.log(`\n${machine()}, load ${loadavg()[0]!.toFixed(1)}`);
} finally {
  rmSync(work, { recursive: true, force: true });
}
