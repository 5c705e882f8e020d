/**
 * Measured layer heights, with the drawing and without, against the truth of simulated campaigns: how far boundaries are off, whether their stated
 * uncertainties are right, whether plates are labelled right, how long it takes.
 * node tests/bench/heights.bench.ts [runs per layout] [first seed] [layout name]
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { percentile } from '../../pipeline/kernels/statistics.ts';
import { machine } from './harness.ts';
import { chips, type Run, run, type TextureRun } from './heights-campaigns.ts';

const sorted = (values: readonly number[]) => Float64Array.from(values).sort();
const at = (values: Float64Array, share: number) =>
  values.length ? percentile(values, share).toFixed(2) : '-';
const worst = (r: Run) => {
  const all = [...r.seen, ...r.reckoned].sort((p, q) => q.deviations - p.deviations);
  return all[0] ? `${all[0].name} ${all[0].deviations.toFixed(1)} sigma` : '-';
};
const share = (good: number, all: number) => (all ? `${((100 * good) / all).toFixed(1)} %` : '-');

function row(name: string, runs: readonly Run[]): string {
  const seen = runs.flatMap((r) => r.seen);
  const reckoned = runs.flatMap((r) => r.reckoned);
  const e = sorted(seen.map((s) => s.voxels));
  const f = sorted(reckoned.map((s) => s.voxels));
  const sum = (of: (r: Run) => number) => runs.reduce((total, r) => total + of(r), 0);
  const inside = (list: readonly { deviations: number }[], most: number) =>
    share(list.filter((s) => s.deviations <= most).length, list.length);
  return (
    `| ${name} | ${runs.length} | ${seen.length} | ${at(e, 0.5)} | ${at(e, 0.95)} | ${inside(seen, 1)} | ${inside(seen, 2)} ` +
    `| ${reckoned.length} | ${at(f, 0.5)} | ${inside(reckoned, 1)} ` +
    `| ${share(
      sum((r) => r.plates.right),
      sum((r) => r.plates.asked),
    )} ` +
    `| ${share(
      sum((r) => r.confident.right),
      sum((r) => r.confident.asked),
    )} ` +
    `| ${runs.filter((r) => r.none).length} | ${at(sorted(runs.map((r) => r.seconds)), 0.5)} |`
  );
}

const perChip = Number(process.argv[2] ?? 10);
const firstSeed = Number(process.argv[3] ?? 1);
const only = process.argv[4];
const folder = mkdtempSync(join(tmpdir(), 'heights-bench-'));
const runs: Run[] = [];
try {
  for (const chip of chips(folder)) {
    if (only && chip.name !== only) continue;
    if (!existsSync(chip.layout)) {
      console.log(`skipped: ${chip.name}, its layout is not beside the repository`);
      continue;
    }
    for (let n = 0; n < perChip; n++) {
      const done = await run(chip, firstSeed + n, folder);
      runs.push(done);
      const e = sorted(done.seen.map((s) => s.voxels));
      console.error(
        `${chip.name}: ${done.words}: ${done.none ? 'nothing measured' : `median ${at(e, 0.5)} most ${at(e, 1)}`}, ` +
          `reckoned most ${at(sorted(done.reckoned.map((s) => s.voxels)), 1)}, ` +
          `worst ${worst(done)}, plates ${done.plates.right} of ${done.plates.asked}, ${done.seconds.toFixed(1)} s; by texture ` +
          `${done.texture.plates.right} of ${done.texture.plates.named} named of ${done.texture.plates.asked}, sure ` +
          `${done.texture.confident.right} of ${done.texture.confident.asked}, order ${done.texture.order}`,
      );
    }
  }
} finally {
  rmSync(folder, { recursive: true, force: true });
}
console.log(`${machine()}\n`);
console.log(
  '| layout | runs | boundaries seen | median error, voxels | 95 % | inside 1 sigma | inside 2 | reckoned | median | ' +
    'inside 1 sigma | right plates | of sure ones | not measured | s |',
);
console.log(`|${' --- |'.repeat(14)}`);
for (const name of new Set(runs.map((r) => r.chip)))
  console.log(
    row(
      name,
      runs.filter((r) => r.chip === name),
    ),
  );
console.log(row('all', runs));

function textureRow(name: string, list: readonly Run[]): string {
  const sum = (of: (t: TextureRun) => number) => list.reduce((total, r) => total + of(r.texture), 0);
  const orders = (order: TextureRun['order']) => list.filter((r) => r.texture.order === order).length;
  return (
    `| ${name} | ${list.length} | ${share(
      sum((t) => t.plates.named),
      sum((t) => t.plates.asked),
    )} ` +
    `| ${share(
      sum((t) => t.plates.right),
      sum((t) => t.plates.named),
    )} ` +
    `| ${share(
      sum((t) => t.confident.asked),
      sum((t) => t.plates.asked),
    )} ` +
    `| ${share(
      sum((t) => t.confident.right),
      sum((t) => t.confident.asked),
    )} ` +
    `| ${orders('right')} | ${orders('wrong')} | ${orders('open')} | ${at(sorted(list.map((r) => r.texture.seconds)), 0.5)} |`
  );
}

console.log('\nWithout the drawing:\n');
console.log(
  '| layout | runs | plates named | of these right | named with 9 in 10 | of these right | order right | wrong | left open | s |',
);
console.log(`|${' --- |'.repeat(10)}`);
for (const name of new Set(runs.map((r) => r.chip)))
  console.log(
    textureRow(
      name,
      runs.filter((r) => r.chip === name),
    ),
  );
console.log(textureRow('all', runs));
