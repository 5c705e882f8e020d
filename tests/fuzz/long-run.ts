/**
 * Long runs of damaged files against one reader. Every case must end in a result or a fault within two seconds and
 * within 512 MB: a child process works the cases off, so that hanging, crashing and swelling are seen from outside.
 *
 * node tests/fuzz/NAME.fuzz.ts [count] [seed] [first case]
 */
import { fork } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { InputFault } from '../../shared/errors.ts';
import { generator } from '../fixtures/volume/random.ts';

export interface Reader {
  readonly name: string;
  /** Writes whole files into a folder, once. */
  prepare(folder: string): void | Promise<void>;
  /**
   * Damages a file and reads it; a fault is thrown. `scratch` is a folder of the process's own.
   * @returns a word for the kind of result
   */
  run(folder: string, scratch: string, random: () => number): Promise<string>;
}

const MOST_MS = 2000;
const MOST_BYTES = 512 * 2 ** 20;
/** A fresh process now and then, so that what one case leaves behind is not taken for another's. */
const CASES_PER_CHILD = 500;

interface Report {
  readonly number: number;
  readonly outcome: string;
  readonly ms: number;
}

/** Runs as parent or as child, by the arguments. */
export async function longRun(script: string, reader: Reader): Promise<void> {
  const [first, ...rest] = process.argv.slice(2);
  if (first === 'child') return child(reader, rest);
  const count = Number(first ?? 20_000);
  const seed = Number(rest[0] ?? 1);
  const from = Number(rest[1] ?? 0);
  const folder = mkdtempSync(join(tmpdir(), `fuzz-${reader.name}-`));
  try {
    await reader.prepare(folder);
    process.exitCode = (await parent(script, reader.name, folder, count, seed, from)) ? 1 : 0;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function child(reader: Reader, [folder, scratch, seed, from, to]: readonly string[]): Promise<void> {
  mkdirSync(scratch, { recursive: true });
  for (let number = Number(from); number < Number(to); number++) {
    process.send?.({ begins: number });
    const random = generator(Number(seed) * 1_000_003 + number);
    const begun = performance.now();
    let outcome: string;
    try {
      outcome = await reader.run(folder, scratch, random);
    } catch (error) {
      if (error instanceof InputFault) outcome = `fault: ${error.tag}`;
      else outcome = `ERROR ${error instanceof Error ? error.stack : String(error)}`;
    }
    process.send?.({ number, outcome, ms: performance.now() - begun } satisfies Report);
  }
  process.disconnect?.();
}

async function parent(
  script: string,
  name: string,
  folder: string,
  count: number,
  seed: number,
  from: number,
): Promise<number> {
  const outcomes = new Map<string, number>();
  const violations: string[] = [];
  let slowest: Report = { number: -1, outcome: '', ms: 0 };
  let peak = 0;
  for (let next = from; next < from + count; ) {
    const to = Math.min(from + count, next + CASES_PER_CHILD);
    const end = await runChild(
      script,
      [folder, join(folder, 'scratch'), `${seed}`, `${next}`, `${to}`],
      (report) => {
        const word = report.outcome.startsWith('ERROR') ? 'error' : report.outcome;
        outcomes.set(word, (outcomes.get(word) ?? 0) + 1);
        if (report.ms > slowest.ms) slowest = report;
        if (report.outcome.startsWith('ERROR')) violations.push(`case ${report.number}: ${report.outcome}`);
        if (report.ms > MOST_MS) violations.push(`case ${report.number}: ${report.ms.toFixed(0)} ms`);
      },
    );
    peak = Math.max(peak, end.peak);
    if (end.peak > MOST_BYTES) {
      violations.push(`cases ${next} to ${end.last}: ${(end.peak / 1e6).toFixed(0)} MB`);
    }
    if (end.died) violations.push(`case ${end.last}: ${end.died}`);
    next = end.died ? end.last + 1 : to;
    process.stderr.write(`\r${name}: ${next - from} of ${count}, ${violations.length} violations `);
  }
  process.stderr.write('\n');
  console.log(`${name}: ${count} cases, seed ${seed}`);
  for (const [word, n] of [...outcomes].sort((a, b) => b[1] - a[1])) console.log(`  ${word.padEnd(24)} ${n}`);
  console.log(
    `  slowest                  ${slowest.ms.toFixed(0)} ms (case ${slowest.number}, ${slowest.outcome})`,
  );
  console.log(`  peak                     ${(peak / 1e6).toFixed(0)} MB`);
  for (const line of violations.slice(0, 20)) console.log(`  VIOLATION ${line}`);
  return violations.length;
}

interface End {
  readonly peak: number;
  /** Case that was begun last. */
  readonly last: number;
  /** How the process ended, where it did so before its time. */
  readonly died: string | null;
}

function runChild(script: string, args: readonly string[], take: (report: Report) => void): Promise<End> {
  return new Promise((resolve) => {
    const process_ = fork(fileURLToPath(script), ['child', ...args], {
      execArgv: ['--max-old-space-size=256'],
      stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
    });
    let last = Number(args[3]) - 1;
    let since = performance.now();
    let peak = 0;
    let died: string | null = null;
    let words = '';
    process_.stderr?.on('data', (data: Buffer) => {
      words = (words + data.toString()).slice(-600);
    });
    const look = (): void => {
      peak = Math.max(peak, peakOf(process_.pid));
      // Twice the limit: a case that ends late reports its own time.
      if (performance.now() - since > 2 * MOST_MS && last >= Number(args[3])) {
        died = `no end after ${2 * MOST_MS} ms`;
        process_.kill('SIGKILL');
      }
    };
    const timer = setInterval(look, 100);
    process_.on('message', (message: Report | { readonly begins: number }) => {
      since = performance.now();
      if ('begins' in message) last = message.begins;
      else {
        take(message);
        peak = Math.max(peak, peakOf(process_.pid));
      }
    });
    process_.on('exit', (code, signal) => {
      clearInterval(timer);
      if (code !== 0) died ??= `the process ended with ${code ?? signal}: ${words}`;
      resolve({ peak, last, died });
    });
  });
}

/** Most bytes of memory that a process has held; 0 where the system does not say. */
function peakOf(pid: number | undefined): number {
  try {
    const status = readFileSync(`/proc/${pid}/status`, 'utf8');
    return Number(/VmHWM:\s+(\d+)/.exec(status)?.[1] ?? 0) * 1024;
  } catch {
    return 0;
  }
}
