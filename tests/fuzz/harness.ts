/**
 * Long runs over damaged files. Cases run in a child process, one after the other; the parent stops it when a case
 * takes too long, and sees when it dies. A violation is a case that ends in neither a result nor an InputFault, takes
 * more than 2 s (twice: the machine may be busy), or drives the process above 512 MB.
 */
import { type ChildProcess, fork } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const LIMIT_MS = 2000;
const LIMIT_MIB = 512;
/** What the child's heap may hold; its buffers come on top and show in its peak. */
const HEAP_MIB = 384;

export interface FuzzTarget {
  /** Name of the file that a case is written to. */
  readonly fileName: string;
  /** Bytes of case n. */
  readonly makeCases: (seed: number) => (number: number) => Buffer;
  /** Reads one; anything thrown is a violation. */
  readonly run: (file: string) => Promise<string>;
}

interface Report {
  readonly number: number;
  /** Absent when the case begins. */
  readonly outcome?: string;
  readonly isViolation?: boolean;
  readonly ms?: number;
  readonly peakMiB?: number;
}

interface Summary {
  readonly outcomes: Map<string, number>;
  readonly violations: string[];
  /** Cases that were stopped once and are tried again. */
  readonly again: Set<number>;
  slowest: Report;
  peakMiB: number;
}

/** To be called by a script with its own address; the script is both parent and child. Arguments: count, seed, first case. */
export async function fuzz(script: string, target: FuzzTarget): Promise<void> {
  const [first, second, from] = process.argv.slice(2);
  if (first === '--child') {
    await runCases(target, JSON.parse(second), Number(from));
    return;
  }
  const count = Number(first ?? 20_000);
  const seed = Number(second ?? 1);
  const summary: Summary = {
    outcomes: new Map(),
    violations: [],
    again: new Set(),
    slowest: { number: -1, ms: 0 },
    peakMiB: 0,
  };
  const begun = performance.now();
  for (let next = Number(from ?? 0); next < count; )
    next = await supervise(script, { count, seed }, next, summary);
  const seconds = ((performance.now() - begun) / 1000).toFixed(0);
  console.log(`${count} cases, seed ${seed}, ${seconds} s`);
  for (const [outcome, number] of [...summary.outcomes].sort((a, b) => b[1] - a[1]))
    console.log(`  ${number} ${outcome}`);
  console.log(
    `slowest: case ${summary.slowest.number}, ${summary.slowest.ms?.toFixed(0)} ms; peak ${summary.peakMiB} MiB`,
  );
  if (summary.again.size > 0) console.log(`tried again: ${[...summary.again].join(', ')}`);
  for (const violation of summary.violations) console.log(`VIOLATION: ${violation}`);
  if (summary.violations.length > 0) process.exitCode = 1;
}

type Options = { readonly count: number; readonly seed: number };

/** Runs a child from case `from` on until it is done or has to be replaced. @returns the next case */
function supervise(script: string, options: Options, from: number, summary: Summary): Promise<number> {
  const child = fork(script, ['--child', JSON.stringify(options), String(from)], {
    execArgv: ['--expose-gc', `--max-old-space-size=${HEAP_MIB}`],
    stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
  });
  let said = '';
  child.stderr?.on('data', (piece: Buffer) => {
    said = (said + piece.toString()).slice(-2000);
  });
  let current = from - 1;
  let isOpen = false;
  let watch: NodeJS.Timeout | undefined;
  return new Promise((resolve) => {
    child.on('message', (report: Report) => {
      clearTimeout(watch);
      current = report.number;
      isOpen = report.outcome === undefined;
      if (isOpen) watch = setTimeout(() => stop(child, current, summary), LIMIT_MS);
      else note(report, summary);
    });
    child.on('exit', (code, signal) => {
      clearTimeout(watch);
      const died = code !== 0 && signal !== 'SIGKILL';
      if (died)
        summary.violations.push(`case ${current} ended the process (${code ?? signal}): ${said.slice(-400)}`);
      const tryAgain =
        signal === 'SIGKILL' && !summary.violations.some((v) => v.startsWith(`case ${current} `));
      resolve(code === 0 ? options.count : tryAgain ? current : current + 1);
    });
  });
}

function stop(child: ChildProcess, number: number, summary: Summary): void {
  if (summary.again.has(number))
    summary.violations.push(`case ${number} took more than ${LIMIT_MS} ms, twice`);
  summary.again.add(number);
  child.kill('SIGKILL');
}

function note(report: Report, summary: Summary): void {
  const { number, outcome = '', isViolation, ms = 0, peakMiB = 0 } = report;
  summary.outcomes.set(outcome, (summary.outcomes.get(outcome) ?? 0) + 1);
  if (ms > (summary.slowest.ms ?? 0)) summary.slowest = report;
  if (isViolation) summary.violations.push(`case ${number}: ${outcome}`);
  if (peakMiB > LIMIT_MIB && summary.peakMiB <= LIMIT_MIB) {
    summary.violations.push(`case ${number} drove the process to ${peakMiB} MiB`);
  }
  summary.peakMiB = Math.max(summary.peakMiB, peakMiB);
}

async function runCases(target: FuzzTarget, { count, seed }: Options, from: number): Promise<void> {
  const make = target.makeCases(seed);
  const folder = mkdtempSync(join(tmpdir(), 'fuzz-'));
  const file = join(folder, target.fileName);
  const send = (report: Report) => new Promise<void>((resolve) => process.send?.(report, () => resolve()));
  try {
    for (let number = from; number < count; number++) {
      writeFileSync(file, make(number));
      await send({ number });
      const begun = performance.now();
      let outcome: string;
      let isViolation = false;
      try {
        outcome = await target.run(file);
      } catch (error) {
        isViolation = true;
        outcome = `${(error as Error).stack?.slice(0, 600)}`;
      }
      const ms = performance.now() - begun;
      const peakMiB = Math.round(process.resourceUsage().maxRSS / 1024);
      await send({ number, outcome, isViolation, ms, peakMiB });
      // What earlier cases left behind must not count against a later one.
      if (number % 50 === 0) globalThis.gc?.();
    }
  } finally {
    rmSync(folder, { recursive: true });
  }
  process.disconnect?.();
}
