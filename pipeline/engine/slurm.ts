/** Slurm's own commands: jobs handed in, watched and taken back. Partition, account and time come from SBATCH_*. */
import { execFile } from 'node:child_process';
import { promisify } from 'node:util';
import { InputFault } from '../../shared/errors.ts';

const run = promisify(execFile);

export interface ArrayJob {
  readonly name: string;
  /** Command line of one task, with its number in $SLURM_ARRAY_TASK_ID. */
  readonly command: readonly string[];
  readonly tasks: number;
  readonly processors: number;
  readonly memoryMb: number;
  /** File that takes what a task says; %a is its number. */
  readonly log: string;
  /** Job that has to end well first. */
  readonly after?: string;
}

/** States of jobs that are still to end by themselves. @source squeue(1), JOB STATE CODES */
const UNDER_WAY = new Set([
  ...['PENDING', 'RUNNING', 'CONFIGURING', 'COMPLETING', 'SUSPENDED', 'STOPPED', 'SIGNALING', 'STAGE_OUT'],
  ...['REQUEUED', 'REQUEUE_FED', 'REQUEUE_HOLD', 'RESIZING', 'RESV_DEL_HOLD', 'SPECIAL_EXIT'],
]);

/** @returns the number of the job @throws InputFault with Slurm's words when it refuses */
export async function submitArray(job: ArrayJob): Promise<string> {
  const script = `#!/bin/sh\nexec ${job.command.map(quoted).join(' ')} "$SLURM_ARRAY_TASK_ID"\n`;
  const options = [
    ...['--parsable', `--job-name=${job.name}`, `--array=0-${job.tasks - 1}`, '--requeue'],
    ...[`--cpus-per-task=${job.processors}`, `--mem=${job.memoryMb}M`, '--ntasks=1', '--open-mode=append'],
    ...[`--output=${job.log}`, `--error=${job.log}`, '--kill-on-invalid-dep=yes'],
    ...(job.after === undefined ? [] : [`--dependency=afterok:${job.after}`]),
  ];
  const said = await slurm('sbatch', options, script);
  // With --parsable: the number, and the cluster behind a semicolon where there are several.
  return said.trim().split(';')[0]!;
}

export interface JobTask {
  readonly task: number | null;
  readonly state: string;
}

/**
 * Tasks of a job that have not ended, as squeue tells; none for a job it knows nothing of any more.
 */
export async function tasksUnderWay(job: string): Promise<JobTask[]> {
  const said = await slurm('squeue', ['--noheader', '--array', `--jobs=${job}`, '--format=%K|%T']).catch(
    (error) => {
      if (/Invalid job id/i.test(String(error?.message))) return '';
      throw error;
    },
  );
  return said
    .split('\n')
    .filter((line) => line.includes('|'))
    .map((line) => line.trim().split('|') as [string, string])
    .map(([task, state]) => ({ task: /^\d+$/.test(task) ? Number(task) : null, state }))
    .filter(({ state }) => UNDER_WAY.has(state));
}

/** How the tasks of a job ended, by state, from the accounting; null where the cluster keeps none. */
export async function endedStates(job: string): Promise<Map<string, number> | null> {
  const options = ['--noheader', '--allocations', '--parsable2', '--format=State', `--jobs=${job}`];
  const said = await slurm('sacct', options).catch(() => null);
  if (said === null) return null;
  const counts = new Map<string, number>();
  for (const line of said.split('\n').filter((text) => text !== '')) {
    // "CANCELLED by 0" names the user.
    const state = line.split(' ')[0]!;
    counts.set(state, (counts.get(state) ?? 0) + 1);
  }
  return counts.size > 0 ? counts : null;
}

export const cancelJob = (job: string): Promise<unknown> => slurm('scancel', [job]).catch(() => {});

async function slurm(command: string, options: readonly string[], input?: string): Promise<string> {
  try {
    const child = run(command, [...options], { encoding: 'utf8', maxBuffer: 1 << 26 });
    // A command that refuses may be gone before it has read anything.
    child.child.stdin?.on('error', () => {});
    child.child.stdin?.end(input ?? '');
    return (await child).stdout;
  } catch (cause) {
    const { code, stderr } = cause as { code?: unknown; stderr?: string };
    throw new InputFault(
      {
        tag: 'inconsistent',
        file: command,
        expected: 'a Slurm cluster that takes jobs from this machine',
        found: code === 'ENOENT' ? `no program "${command}"` : (stderr ?? String(cause)).trim().slice(0, 500),
        remedy:
          'Run this where sbatch and squeue work; set SBATCH_PARTITION, SBATCH_ACCOUNT or SBATCH_TIMELIMIT as your cluster wants them.',
      },
      { cause },
    );
  }
}

/** As one word of a POSIX shell. */
const quoted = (word: string): string => `'${word.replaceAll("'", "'\\''")}'`;
