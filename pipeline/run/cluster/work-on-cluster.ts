/**
 * The long stages as jobs of a Slurm cluster: place (a task per volume), plates (arrays sized by the work), finish (a
 * task per volume, once its plates are there). What they make is in the cache; the build that follows finds it there
 * and is therefore the same, byte by byte, as one on a single machine.
 */
import { mkdir, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { serialize } from 'node:v8';
import { InputFault } from '../../../shared/errors.ts';
import type { BuildOptions } from '../../build-options.ts';
import { type ArrayJob, cancelJob, endedStates, submitArray, tasksUnderWay } from '../../engine/slurm.ts';
import { writeAtomically } from '../../output/files.ts';
import { planRuns } from '../../stages/plate/plan-runs.ts';
import type { PlateTask } from '../../stages/plate/plate-task.ts';
import { RUN, runKeys } from '../plate-steps.ts';
import type { Prepared } from '../prepare.ts';
import { publicScan, sliceFacts } from '../public-scan.ts';
import { scanOrder } from '../scan-order.ts';
import { type Overviews, siteScan } from '../site-scan.ts';
import type { BuildSteps } from '../steps.ts';
import type { ClusterPlan, ClusterRuns, ClusterStage } from './cluster-task.ts';
import { plateMemoryMb, sharedOut } from './size-arrays.ts';

const ENTRY = fileURLToPath(new URL('./cluster-task.ts', import.meta.url));
const POLL_MS = 1_000;
/** Times that work which failed is given out again. */
const TRIES = 3;
/** For placing and finishing, which hold portraits of all layers. */
const SCAN_MEMORY_MB = 4_000;

/** @throws InputFault when the cluster refuses, or the same work failed again and again */
export async function workOnCluster(
  prepared: Prepared,
  steps: BuildSteps,
  options: BuildOptions,
): Promise<void> {
  const folder = join(steps.cache, 'cluster');
  const { loaded } = prepared;
  const scans = loaded.campaign.scans.filter((scan) => scan.volume);
  if (scans.length === 0) return;
  await mkdir(join(folder, 'logs'), { recursive: true });
  const cluster = new ClusterJobs(folder, options);
  await cluster.adopt();
  const plan: ClusterPlan = {
    ...{ campaign: loaded.folder, cache: steps.cache, allowOutside: loaded.allowOutside },
    scans: scans.map((scan) => scan.id),
  };
  await writeFile(join(folder, 'plan.bin'), serialize(plan));
  const processors = options.jobs ?? 1;
  const perScan = { tasks: scans.length, processors, memoryMb: SCAN_MEMORY_MB };
  try {
    await cluster.wait([await cluster.submit('place', perScan)]);
    // Found in the cache where the job went well; where it failed, this machine meets the fault itself and words it.
    let after: string | undefined;
    for (let tries = 0; tries < TRIES; tries++) {
      const left = await missingRuns(prepared, steps, options);
      if (left.length === 0 && tries > 0) break;
      if (left.length > 0) {
        const shares = sharedOut(left);
        for (const [n, runs] of shares.entries())
          await writeFile(join(folder, `plates-${n}.bin`), serialize({ runs } satisfies ClusterRuns));
        const memoryMb = Math.max(...left.map((run) => run.memoryMb));
        after = await cluster.submit('plates', { tasks: shares.length, processors: 1, memoryMb });
      }
      const finish = await cluster.submit('finish', perScan, after);
      await cluster.wait(after === undefined ? [finish] : [after, finish], left.length, async () => {
        const there = await Promise.all(left.map(({ key }) => steps.store.find(RUN, key)));
        return there.filter((run) => run !== null).length;
      });
    }
    const left = await missingRuns(prepared, steps, options);
    if (left.length > 0) throw await cluster.gaveUp(left.length);
  } catch (error) {
    await cluster.cancel();
    throw error;
  }
  await rm(folder, { recursive: true, force: true });
}

interface MissingRun {
  readonly task: PlateTask;
  readonly key: string;
  readonly memoryMb: number;
}

/** Runs of plates that are not in the cache yet. */
async function missingRuns(
  { loaded, layout, withheld }: Prepared,
  steps: BuildSteps,
  options: BuildOptions,
): Promise<MissingRun[]> {
  const missing: MissingRun[] = [];
  const overviews: Overviews = new Map();
  for (const scan of scanOrder(loaded.campaign)) {
    if (!scan.volume) continue;
    const folder = join(steps.staging, 'data', scan.id);
    const sited = await siteScan(loaded, layout, scan, folder, options, steps, overviews);
    const open = publicScan(loaded, withheld, sited);
    if (!open) continue;
    const { tasks } = planRuns(open.job);
    for (const [task, key] of runKeys(steps, tasks, sited.content))
      if (!(await steps.store.find(RUN, key))) {
        const memoryMb = plateMemoryMb(task, sliceFacts(sited.surveyed.survey));
        missing.push({ task: plain(task), key, memoryMb });
      }
  }
  return missing;
}

/** Shared memory cannot be written to a file. */
const plain = (task: PlateTask): PlateTask => ({
  ...task,
  mask: task.mask && Uint8Array.from(task.mask),
  hidden: task.hidden && Uint8Array.from(task.hidden),
});

/** Jobs of one build, remembered on the disk so that a build started again waits for them and does not hand in twice. */
class ClusterJobs {
  readonly #folder: string;
  readonly #options: BuildOptions;
  readonly #jobs: string[] = [];

  constructor(folder: string, options: BuildOptions) {
    this.#folder = folder;
    this.#options = options;
  }

  /** Waits for what an earlier build, whose process is gone, left with the cluster. */
  async adopt(): Promise<void> {
    const text = await readFile(join(this.#folder, 'jobs.json'), 'utf8').catch(() => '[]');
    const jobs = JSON.parse(text) as string[];
    const left: string[] = [];
    for (const job of jobs) if ((await tasksUnderWay(job)).length > 0) left.push(job);
    if (left.length === 0) return;
    this.#options.progress.line(`cluster                jobs ${left.join(', ')} of an earlier build go on`);
    this.#jobs.push(...left);
    await this.wait(left);
  }

  async submit(
    stage: ClusterStage,
    size: Pick<ArrayJob, 'tasks' | 'processors' | 'memoryMb'>,
    after?: string,
  ): Promise<string> {
    const job = await submitArray({
      ...size,
      name: `stratafolio-${stage}`,
      command: [process.execPath, ENTRY, this.#folder, stage],
      log: join(this.#folder, 'logs', `${stage}-%a.log`),
      ...(after === undefined ? {} : { after }),
    });
    this.#jobs.push(job);
    await writeAtomically(join(this.#folder, 'jobs.json'), JSON.stringify(this.#jobs));
    const { tasks } = size;
    this.#options.progress.line(
      `cluster ${stage.padEnd(14)} job ${job}, ${tasks} ${tasks === 1 ? 'task' : 'tasks'}`,
    );
    return job;
  }

  /** Until no task of the jobs is waiting or running. */
  async wait(
    jobs: readonly string[],
    total = 0,
    count: () => Promise<number> = async () => 0,
  ): Promise<void> {
    const { progress, signal } = this.#options;
    const bar = total > 0 ? progress.bar('plates on the cluster', total, 'runs') : null;
    let done = 0;
    for (;;) {
      signal?.throwIfAborted();
      const tasks = (await Promise.all(jobs.map(tasksUnderWay))).flat();
      if (bar) {
        const now = await count();
        bar.advance(now - done);
        done = now;
      }
      if (tasks.length === 0) break;
      await sleep(POLL_MS);
    }
    const ended = (await Promise.all(jobs.map(endedStates))).flatMap((states) => [...(states ?? [])]);
    const words = ended.map(([state, n]) => `${n} ${state.toLowerCase()}`).join(', ');
    bar?.finish(words || undefined);
  }

  async cancel(): Promise<void> {
    await Promise.all(this.#jobs.map(cancelJob));
  }

  async gaveUp(left: number): Promise<InputFault> {
    const logs = join(this.#folder, 'logs');
    let last = '';
    for (const name of (await readdir(logs).catch(() => [])).filter((n) => n.startsWith('plates')))
      last = (await readFile(join(logs, name), 'utf8')).trim().split('\n').at(-1) || last;
    return new InputFault({
      tag: 'inconsistent',
      file: logs,
      expected: `every task of the cluster to end well in ${TRIES} tries`,
      found: `${left} runs of plates that did not${last ? `; the last words of one: ${last.slice(0, 300)}` : ''}`,
      remedy: 'Read the logs. What was done is kept: the next build goes on from there.',
    });
  }
}
