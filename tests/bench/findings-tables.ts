/** What the benchmark of findings prints. */

import { clopperPearson } from '../../pipeline/kernels/rate-intervals.ts';
import type { CompareOutcome } from '../../pipeline/stages/compare/compare-scan.ts';
import type { NetFaults } from '../../pipeline/stages/connect/judge-nets.ts';
import type { PreparedScan, ScanCase } from './findings-scans.ts';
import type { Score } from './findings-score.ts';

interface Row {
  scans: number;
  planted: number;
  found: number;
  unjudged: number;
  false: number;
  fill: number;
  recognised: number;
  asFinding: number;
  um2: number;
  falseNets: number;
  seconds: number;
}

const BANDS = [0, 0.5, 0.8, 0.95, 0.99, 1.01];
const share = (a: number, b: number): string =>
  b === 0 ? '-' : `${a} of ${b} (${((100 * a) / b).toFixed(1)} %)`;

export class Tables {
  readonly #rows = new Map<string, Row>();
  readonly #kinds = new Map<string, { planted: number; found: number; named: number }>();
  readonly #promised: { held: boolean; words: string }[] = [];
  readonly #stated: { p: number; right: boolean }[] = [];

  add(wanted: ScanCase, score: Score, outcome: CompareOutcome, nets: NetFaults, seconds: number): void {
    const found = new Set(score.hits.flatMap((h) => h.findings));
    for (const f of outcome.findings.findings) this.#stated.push({ p: f.probability, right: found.has(f) });
    const placed = wanted.placement === 'automatic' ? ', placed by itself' : '';
    for (const name of [wanted.chip + placed, wanted.condition + placed, 'all']) {
      const row = this.#rows.get(name) ?? {
        ...{ scans: 0, planted: 0, found: 0, unjudged: 0, false: 0, fill: 0, recognised: 0, asFinding: 0 },
        ...{ um2: 0, falseNets: 0, seconds: 0 },
      };
      this.#rows.set(name, row);
      row.scans++;
      row.planted += score.hits.length + score.missed.length;
      row.found += score.hits.length;
      row.unjudged += score.unjudged.length;
      row.false += score.false.length;
      row.fill += score.fill.made;
      row.recognised += score.fill.recognised;
      row.asFinding += score.fill.asFinding;
      row.um2 += score.judgedUm2;
      row.seconds += seconds;
      const wrong = new Set(score.false.map((f) => f.id));
      row.falseNets += [...nets.opens, ...nets.shorts].filter((fault) =>
        fault.places.some((place) => place.finding !== undefined && wrong.has(place.finding)),
      ).length;
    }
    for (const [fault, findings] of [
      ...score.hits.map((h) => [h.fault, h.findings] as const),
      ...score.missed.map((f) => [f, null] as const),
    ]) {
      const kind = this.#kinds.get(fault.kind) ?? { planted: 0, found: 0, named: 0 };
      this.#kinds.set(fault.kind, kind);
      kind.planted++;
      if (findings) kind.found++;
      if (findings?.some((f) => f.kind === fault.kind)) kind.named++;
    }
  }

  /**
   * Whether the rate that the self-test states for the kinds, layers and sizes of the true faults holds for them: the
   * interval of the pooled trials against that of the faults found.
   */
  addSelfTest(name: string, scan: PreparedScan, score: Score, outcome: CompareOutcome): void {
    const { selftest } = outcome;
    if (!selftest) return;
    const faults = [
      ...score.hits.map((h) => ({ fault: h.fault, found: 1 })),
      ...score.missed.map((fault) => ({ fault, found: 0 })),
    ];
    let [planted, back, asked, found] = [0, 0, 0, 0];
    for (const { fault, found: one } of faults) {
      const [x0, y0, x1, y1] = fault.box_um;
      // A narrowed or swollen wire is named by its length; what moved is a quarter of its width.
      const edge = fault.kind === 'narrow' || fault.kind === 'wide';
      const side = Math.min(x1 - x0, y1 - y0) * (fault.kind === 'narrow' ? 0.25 : edge ? 1 / 6 : 1);
      const trials = selftest.trials.filter((t) => t.kind === fault.kind && t.layer === fault.layer);
      if (trials.length === 0) continue;
      const apart = (t: { size_um: number }): number => Math.abs(Math.log(t.size_um / side));
      const nearest = trials.reduce((a, b) => (apart(b) < apart(a) ? b : a));
      planted += nearest.planted;
      back += nearest.found;
      asked++;
      found += one;
    }
    if (asked === 0) return;
    const stated = clopperPearson(back, planted);
    const true_ = clopperPearson(found, asked);
    const held = stated.low <= true_.high && true_.low <= stated.high;
    const percent = (v: number): string => (100 * v).toFixed(0);
    const words =
      `${name}: self-test ${back} of ${planted} (${percent(stated.low)} to ${percent(stated.high)} %), ` +
      `true faults ${found} of ${asked} (${percent(true_.low)} to ${percent(true_.high)} %)` +
      `, ${scan.portraits.length} layers`;
    this.#promised.push({ held, words });
  }

  print(): string {
    const lines = [
      '',
      '| scans | n | faults found | not judged | false findings | precision | false per 1000 um2 | false opens, shorts | fill recognised | as findings | s |',
      '| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |',
    ];
    for (const [name, r] of this.#rows)
      lines.push(
        `| ${name} | ${r.scans} | ${share(r.found, r.planted)} | ${r.unjudged} | ${r.false} | ` +
          `${r.found + r.false > 0 ? `${((100 * r.found) / (r.found + r.false)).toFixed(1)} %` : '-'} | ` +
          `${((1000 * r.false) / Math.max(r.um2, 1e-9)).toFixed(2)} | ${r.falseNets} | ` +
          `${share(r.recognised, r.fill)} | ${r.asFinding} | ${(r.seconds / r.scans).toFixed(1)} |`,
      );
    lines.push('', '| kind | found | of these named rightly |', '| --- | --- | --- |');
    for (const [kind, k] of this.#kinds)
      lines.push(`| ${kind} | ${share(k.found, k.planted)} | ${share(k.named, k.found)} |`);
    lines.push('', '| stated probability | findings | mean of stated | right |', '| --- | --- | --- | --- |');
    for (let n = 0; n < BANDS.length - 1; n++) {
      const some = this.#stated.filter(({ p }) => p >= BANDS[n]! && p < BANDS[n + 1]!);
      if (some.length === 0) continue;
      const mean = some.reduce((sum, { p }) => sum + p, 0) / some.length;
      lines.push(
        `| ${BANDS[n]} to ${Math.min(BANDS[n + 1]!, 1)} | ${some.length} | ${mean.toFixed(3)} | ` +
          `${share(some.filter((s) => s.right).length, some.length)} |`,
      );
    }
    if (this.#promised.length > 0) {
      lines.push('', ...this.#promised.map((p) => `${p.held ? 'holds' : 'does not hold'}: ${p.words}`));
      const held = this.#promised.filter((p) => p.held).length;
      lines.push(`the rate of the self-test holds in ${held} of ${this.#promised.length} scans`);
    }
    return lines.join('\n');
  }
}
