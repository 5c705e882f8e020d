/** One task of a job on the cluster: its result goes into the cache that all machines share, and nowhere else. */
import { mkdir, readFile, rm } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { deserialize } from 'node:v8';
import { InputFault } from '../../../shared/errors.ts';
import { StepStore } from '../../engine/step-store.ts';
import { terminalProgress } from '../../output/progress.ts';
import type { PlateTask } from '../../stages/plate/plate-task.ts';
import { doRun } from '../../stages/plate/plate-worker.ts';
import { buildScan } from '../build-scan.ts';
import { RUN } from '../plate-steps.ts';
import { prepare } from '../prepare.ts';
import { outerScans } from '../scan-order.ts';
import { type Overviews, siteScan } from '../site-scan.ts';
import { BuildSteps, type Timed } from '../steps.ts';

/** What tasks of a build are told, in `plan.bin` of its folder. */
export interface ClusterPlan {
  readonly campaign: string;
  readonly cache: string;
  readonly allowOutside: boolean;
  /** Volumes in the order of the tasks that place and finish them. */
  readonly scans: readonly string[];
}

/** Runs of plates of one task, in `plates-<number>.bin`. */
export interface ClusterRuns {
  readonly runs: readonly { readonly task: PlateTask; readonly key: string }[];
}

export type ClusterStage = 'place' | 'plates' | 'finish';

const directly: Timed = (_, work) => work();

export async function clusterTask(folder: string, stage: ClusterStage, number: number): Promise<void> {
  const plan = deserialize(await readFile(join(folder, 'plan.bin'))) as ClusterPlan;
  const store = new StepStore(plan.cache);
  if (stage === 'plates') {
    const file = join(folder, `plates-${number}.bin`);
    const { runs } = deserialize(await readFile(file)) as ClusterRuns;
    for (const { task, key } of runs) {
      if (await store.find(RUN, key)) continue;
      await store.make(RUN, key, ({ files }) => doRun(task, files, () => {}));
    }
    return;
  }
  const id = plan.scans[number]!;
  const staging = join(folder, `${stage}-${number}-${process.pid}`);
  const steps = new BuildSteps(store, plan.cache, staging, directly);
  const { loaded, layout, withheld } = await prepare(plan.campaign, plan.allowOutside, directly);
  const scan = loaded.campaign.scans.find((candidate) => candidate.id === id)!;
  const jobs = Number(process.env.SLURM_CPUS_PER_TASK) || availableParallelism();
  const options = { jobs, allowOutside: plan.allowOutside, progress: terminalProgress() };
  try {
    await mkdir(staging, { recursive: true });
    const overviews: Overviews = new Map();
    for (const outer of outerScans(loaded.campaign, scan))
      await siteScan(loaded, layout, outer, staging, options, steps, overviews);
    if (stage === 'place') await siteScan(loaded, layout, scan, staging, options, steps, overviews);
    else await buildScan(loaded, layout, withheld, scan, options, steps, overviews);
  } finally {
    await rm(staging, { recursive: true, force: true });
  }
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const [folder, stage, number] = process.argv.slice(2) as [string, ClusterStage, string];
  await clusterTask(folder, stage, Number(number)).catch((error) => {
    process.stderr.write(`${error instanceof InputFault ? error.message : (error?.stack ?? error)}\n`);
    process.exitCode = error instanceof InputFault ? 1 : 4;
  });
}
