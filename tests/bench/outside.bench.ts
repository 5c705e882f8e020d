/**
 * The whole way on campaigns that nothing of ours had a hand in: chip, process, layout file and scan come from NumPy
 * and SciPy (tests/bench/outside), `stratafolio build` is run on them, and its hand-over files are held against the truth.
 * node tests/bench/outside.bench.ts [--runs 8] [--from 1] [--kind wrong] [--hard] [--keep FOLDER]
 * --hard adds fill, bridges, pieces of metal, bending, lost slices. STRATAFOLIO_PYTHON names a Python with NumPy and SciPy, where python3 is none.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { generator, machine } from './harness.ts';
import { type Score, scoreCampaign } from './outside/score.ts';

const { values } = parseArgs({
  options: {
    runs: { type: 'string', default: '8' },
    from: { type: 'string', default: '1' },
    kind: { type: 'string' },
    hard: { type: 'boolean', default: false },
    keep: { type: 'string' },
  },
});
const python = process.env.STRATAFOLIO_PYTHON ?? 'python3';
if (spawnSync(python, ['-c', 'import numpy, scipy']).status !== 0) {
  console.log(`${python} has no NumPy and SciPy: name one that has by STRATAFOLIO_PYTHON.`);
  process.exit(0);
}
const CLI = join(import.meta.dirname, '../../pipeline/cli.ts');
const folder = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'outside-'));

/** Conditions of a seed; unless a kind is asked for, every fourth is a wrong drawing, one that repeats, or a sound chip. */
function conditions(seed: number): string[] {
  const random = generator(seed + 900);
  const pick = (list: readonly string[]): string => list[Math.floor(random() * list.length)]!;
  const kind = values.kind ?? (seed % 4 === 0 ? pick(['wrong', 'repeat', 'sound']) : 'faults');
  return [
    ...['--kind', kind, '--cnr', pick(['1.5', '2', '3', '4', '6', '10']), '--per', pick(['4', '5', '6'])],
    ...['--cone', pick(['0', '20', '30', '40']), '--blur', pick(['0.6', '0.8', '1.2'])],
    ...(values.hard ? ['--hard', '--warp', pick(['0', '1', '2', '3']), '--broken', pick(['0', '0.03'])] : []),
  ];
}

console.log(machine());
const all: { kind: string; score: Score }[] = [];
console.log('| seed | conditions | verdict | off, voxels | plates | layers judged | faults found | false |');
console.log('| --- | --- | --- | --- | --- | --- | --- | --- |');
for (let seed = Number(values.from); seed < Number(values.from) + Number(values.runs); seed++) {
  const campaign = join(folder, `seed-${seed}`);
  const chosen = conditions(seed);
  for (const [program, args] of [
    [python, [join(import.meta.dirname, 'outside', 'make.py'), campaign, String(seed), ...chosen]],
    [process.execPath, [CLI, 'build', campaign, '--data-only']],
  ] as const) {
    const { status, stderr } = spawnSync(program, args, { encoding: 'utf8' });
    if (status !== 0) throw new Error(`${program} ${args.join(' ')} ended with ${status}: ${stderr}`);
  }
  const score = scoreCampaign(campaign);
  all.push({ kind: chosen[1]!, score });
  const { faults, plates } = score;
  console.log(
    `| ${seed} | ${chosen.join(' ').replaceAll('--', '')} | ${score.verdict}${score.wrong ? ' WRONG' : ''} | ` +
      `${score.planeVoxels?.toFixed(2) ?? 'none'} | ${plates.right}/${plates.of} | ${score.judgedLayers} | ` +
      `${faults.found}/${faults.judged} (${faults.sameKind} by kind) | ${score.falseFindings.join('; ') || 'none'} |`,
  );
  if (!values.keep) rmSync(campaign, { recursive: true });
}
const sum = (of: (score: Score) => number): number => all.reduce((total, { score }) => total + of(score), 0);
const placeable = all.filter(({ kind }) => kind === 'faults' || kind === 'sound');
console.log(
  `\nlocked ${placeable.filter(({ score }) => score.verdict === 'locked').length} of ${placeable.length} placeable, ` +
    `wrongly locked ${all.filter(({ score }) => score.wrong).length}; locked though wrong or repeating ` +
    `${all.filter(({ kind, score }) => (kind === 'wrong' || kind === 'repeat') && score.verdict === 'locked').length}; ` +
    `faults ${sum((s) => s.faults.found)} of ${sum((s) => s.faults.judged)} judged; false ${sum((s) => s.falseFindings.length)}`,
);
if (!values.keep) rmSync(folder, { recursive: true });
