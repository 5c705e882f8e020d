/** What all benchmarks share: seeded numbers, warm-up, median and spread, the machine beside the table. */
import { readFileSync } from 'node:fs';
import { cpus, totalmem } from 'node:os';

export { generator } from '../fixtures/random.ts';

export interface Timing {
  readonly medianMs: number;
  readonly leastMs: number;
  readonly mostMs: number;
}

/** Runs contenders in turn, round after round, so that a slow moment of the machine hits all of them. */
export async function race(
  contenders: Record<string, () => Promise<void> | void>,
  rounds: number,
  warmUp = 1,
): Promise<Record<string, Timing>> {
  const times = new Map<string, number[]>(Object.keys(contenders).map((name) => [name, []]));
  for (let round = -warmUp; round < rounds; round++) {
    for (const [name, work] of Object.entries(contenders)) {
      const from = performance.now();
      await work();
      if (round >= 0) times.get(name)!.push(performance.now() - from);
    }
  }
  return Object.fromEntries(
    [...times].map(([name, list]) => {
      const sorted = list.sort((a, b) => a - b);
      return [name, { medianMs: sorted[sorted.length >> 1]!, leastMs: sorted[0]!, mostMs: sorted.at(-1)! }];
    }),
  );
}

export const machine = (): string =>
  `${cpus()[0]?.model.trim()} (${cpus().length} cores), ${Math.round(totalmem() / 1e9)} GB, Node ${process.version}`;

export const spread = (t: Timing): string =>
  `${t.medianMs.toFixed(0)} ms (${t.leastMs.toFixed(0)} to ${t.mostMs.toFixed(0)})`;

/** Watches the most memory that a process held, as Linux counts it; the answer ends the watch and gives it in megabytes. */
export function watchPeak(pid: number): () => number {
  let peakMb = 0;
  const watching = setInterval(() => {
    try {
      const status = readFileSync(`/proc/${pid}/status`, 'utf8');
      peakMb = Math.max(peakMb, Number(/VmHWM:\s+(\d+) kB/.exec(status)?.[1] ?? 0) / 1000);
    } catch {}
  }, 100);
  return () => {
    clearInterval(watching);
    return peakMb;
  };
}
