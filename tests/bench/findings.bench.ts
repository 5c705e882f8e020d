/**
 * Findings against the truth of simulated scans: recall and precision by kind, fill, false alarms, and whether the
 * self-test's rates hold. node tests/bench/findings.bench.ts [--seeds 1,2,3] [--cnr 3] [--only demo,sg13g2]
 * The real layouts are looked for in ../shared/data; where they are absent only the demo is run.
 */
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { generate } from '../../demo-volume/generate.ts';
import { imageLayout } from '../../demo-volume/image-layout.ts';
import { buildFolio } from '../../pipeline/run.ts';
import type { Findings } from '../../shared/artefacts/findings.ts';
import type { Selftest } from '../../shared/artefacts/selftest.ts';
import { machine } from './harness.ts';

const ROOT = join(import.meta.dirname, '..', '..');
const DATA = join(ROOT, '..', 'shared', 'data');
const quiet = { bar: () => ({ advance() {}, finish() {} }), line() {}, doubt() {} };

interface Case {
  readonly name: string;
  readonly write: (out: string, seed: number, cnr: number) => Promise<unknown>;
}

const window = (
  name: string,
  file: string,
  process: string,
  box: readonly [number, number, number, number],
  voxelNm: number,
): Case => ({
  name,
  write: (out, seed, cnr) =>
    imageLayout({
      layout: join(DATA, file),
      process: join(ROOT, 'tests', 'fixtures', 'process', process),
      windowUm: box,
      out,
      voxelNm,
      rotationDeg: 1.7,
      tiltDeg: 0.3,
      tiltTowardsDeg: 40,
      scalePlane: 1.01,
      scaleDepth: 0.99,
      seed,
      cnr,
      order: 'top-first',
      mirrored: false,
      circular: false,
      fill: true,
      faults: true,
      placement: true,
    }),
});

const CASES: Case[] = [
  { name: 'demo', write: (out, seed) => generate({ out, seed, fast: false, circular: false, force: true }) },
  window('gf180', 'gf180_w_io.gds', 'gf180mcu.yaml', [60, 120, 82, 140], 45),
  window('sg13g2-sram', 'sg13g2_sram_256x8.gds', 'sg13g2.yaml', [100, 30, 118, 46], 40),
];

interface Truth {
  readonly faults: readonly { kind: string; layer: string; box_um: [number, number, number, number] }[];
  readonly fill: readonly { layer: string; count_in_field: number }[];
}

const { values } = parseArgs({
  options: {
    seeds: { type: 'string', default: '1,2' },
    cnr: { type: 'string', default: '3' },
    only: { type: 'string' },
  },
});
const tally = new Map<string, { planted: number; found: number; named: number }>();
let [right, wrong, fillFound, fillTrue, fillLost, area] = [0, 0, 0, 0, 0, 0];

console.log(`${machine()}, contrast to noise ${values.cnr} (the demo has its own)`);
for (const entry of CASES) {
  if (values.only && !values.only.split(',').includes(entry.name)) continue;
  if (entry.name !== 'demo' && !existsSync(DATA)) {
    console.log(`${entry.name}: skipped, no layouts in ../shared/data`);
    continue;
  }
  for (const seed of values.seeds.split(',').map(Number)) {
    const work = mkdtempSync(join(tmpdir(), 'stratafolio-findings-'));
    try {
      await entry.write(join(work, 'campaign'), seed, Number(values.cnr));
      const built = await buildFolio(join(work, 'campaign'), {
        out: join(work, 'folio'),
        dataOnly: true,
        progress: quiet,
      });
      report(entry.name, seed, work, built.stages.get('compare') ?? 0);
    } finally {
      rmSync(work, { recursive: true, force: true });
    }
  }
}

const share = (a: number, b: number): string =>
  b === 0 ? '-' : `${a} of ${b} (${((100 * a) / b).toFixed(0)} %)`;
console.log('\n| kind | found | named rightly |\n| --- | --- | --- |');
for (const [kind, t] of tally)
  console.log(`| ${kind} | ${share(t.found, t.planted)} | ${share(t.named, t.found)} |`);
console.log(
  `precision ${share(right, right + wrong)}; false findings per 1000 um2: ${((1000 * wrong) / area).toFixed(2)}`,
);
console.log(
  `fill recognised ${share(Math.min(fillFound, fillTrue), fillTrue)}, called a finding ${fillLost}`,
);

function report(name: string, seed: number, work: string, seconds: number): void {
  const read = <T>(...path: string[]): T => JSON.parse(readFileSync(join(work, ...path), 'utf8')) as T;
  const truth = read<Truth>('campaign', 'truth.json');
  const found = read<Findings>('folio', 'data', 'fine', 'findings.json');
  const selftest = read<Selftest>('folio', 'data', 'fine', 'selftest.json');
  const meets = (a: readonly number[], b: readonly number[]): boolean =>
    a[0]! < b[2]! + 0.1 && b[0]! < a[2]! + 0.1 && a[1]! < b[3]! + 0.1 && b[1]! < a[3]! + 0.1;
  const used = new Set<string>();
  for (const fault of truth.faults) {
    if (!(fault.layer in found.judged_area_um2)) {
      console.log(`  ${name} ${seed}: ${fault.kind} on ${fault.layer} lies on a layer that was not judged`);
      continue;
    }
    const entry = tally.get(fault.kind) ?? { planted: 0, found: 0, named: 0 };
    tally.set(fault.kind, entry);
    entry.planted++;
    const hits = found.findings.filter((f) => f.layer === fault.layer && meets(f.box_um, fault.box_um));
    for (const hit of hits) used.add(hit.id);
    if (hits.length > 0) entry.found++;
    else console.log(`  ${name} ${seed}: missed ${fault.kind} on ${fault.layer}`);
    if (hits.some((f) => f.kind === fault.kind)) entry.named++;
  }
  for (const f of found.findings) if (!used.has(f.id)) console.log(`  ${name} ${seed}: false: ${f.note}`);
  right += used.size;
  wrong += found.findings.length - used.size;
  area += Math.max(0, ...Object.values(found.judged_area_um2));
  for (const { layer, count_in_field } of truth.fill) {
    if (!(layer in found.judged_area_um2)) continue;
    fillTrue += count_in_field;
    fillFound += found.fill.filter((f) => f.layer === layer).reduce((s, f) => s + f.count, 0);
  }
  fillLost += found.findings.filter((f) => !used.has(f.id) && f.kind === 'extra-shape').length;
  const planted = selftest.trials.reduce((s, t) => s + t.planted, 0);
  const back = selftest.trials.reduce((s, t) => s + t.found, 0);
  console.log(
    `${name}, seed ${seed}: ${used.size} right, ${found.findings.length - used.size} false, fill ` +
      `${found.fill.map((f) => `${f.layer} ${f.count}`).join(', ') || 'none'}, compare ${seconds.toFixed(1)} s, ` +
      `${back} of ${planted} edits found; not judged: ${found.doubts.length}`,
  );
}
