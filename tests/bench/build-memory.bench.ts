/**
 * Peak memory of a whole build (data only) of a volume and of one four times as deep: memory must follow the size of a
 * slice, not the depth. Run by hand: node tests/bench/build-memory.bench.ts
 */
import { spawnSync } from 'node:child_process';
import { closeSync, mkdirSync, mkdtempSync, openSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { generator, machine } from './harness.ts';

const SIDE = 512;
const DEPTHS = [100, 400];
const RUNS = 3;
const CLI = new URL('../../pipeline/cli.ts', import.meta.url).href;

const work = mkdtempSync(join(tmpdir(), 'stratafolio-memory-'));

function makeCampaign(depth: number): string {
  const folder = join(work, `deep${depth}`);
  mkdirSync(folder);
  const random = generator(depth);
  const file = openSync(join(folder, 'volume.raw'), 'w');
  for (let k = 0; k < depth; k++) {
    const slice = Uint16Array.from(
      { length: SIDE * SIDE },
      (_, n) => ((n % 24 < 10 ? 30_000 : 20_000) + 9000 * random()) | 0,
    );
    writeSync(file, new Uint8Array(slice.buffer));
  }
  closeSync(file);
  // Half a degree of tilt, so that a plate crosses several slices.
  const rows = [
    [0, 0, 0],
    [500, 0, 3],
    [0, 500, 5],
    [500, 500, 60],
    [250, 30, 90],
    [33, 408, 44],
  ];
  const csv = rows
    .map(([i, j, k]) => [i, j, k, 0.02 * i!, 10 - 0.02 * j!, 0.02 * k! + 0.02 * 0.0087 * i!].join(','))
    .join('\n');
  writeFileSync(join(folder, 'landmarks.csv'), `i,j,k,x_um,y_um,z_um\n${csv}\n`);
  writeFileSync(
    join(folder, 'campaign.yaml'),
    `stratafolio: 1\ntitle: Memory\nchip: { name: none }\nscans:\n  - id: a\n    volume: { raw: volume.raw, shape: [${depth}, ${SIDE}, ${SIDE}], dtype: uint16le }\n    voxel_nm: 20\n    placement: { landmarks: landmarks.csv }\n`,
  );
  return folder;
}

function peakMb(folder: string): number {
  const script = `const { main } = await import(${JSON.stringify(CLI)}); process.exitCode = await main(['build', ${JSON.stringify(folder)}, '--data-only', '--jobs', '2']); console.log('peak', process.resourceUsage().maxRSS);`;
  const { stdout, stderr, status } = spawnSync(process.execPath, ['--input-type=module', '-e', script], {
    encoding: 'utf8',
  });
  const peak = /peak (\d+)/.exec(stdout);
  if (status !== 0 || !peak) throw new Error(stderr);
  return Number(peak[1]) / 1000;
}

try {
  console.log('| volume | peak memory, MB: median (least to most) |\n| --- | --- |');
  const medians = DEPTHS.map((depth) => {
    const folder = makeCampaign(depth);
    const peaks = Array.from({ length: RUNS }, () => peakMb(folder)).sort((a, b) => a - b);
    console.log(
      `| ${SIDE} x ${SIDE} x ${depth} | ${peaks[RUNS >> 1]!.toFixed(0)} (${peaks[0]!.toFixed(0)} to ${peaks.at(-1)!.toFixed(0)}) |`,
    );
    return peaks[RUNS >> 1]!;
  });
  console.log(
    `\nFour times as deep: ${((medians[1]! / medians[0]! - 1) * 100).toFixed(1)} % more. ${machine()}`,
  );
} finally {
  rmSync(work, { recursive: true, force: true });
}
