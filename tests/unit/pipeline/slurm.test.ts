/** Builds on a real Slurm: the same folio as on one machine, also when jobs are cancelled and the build is killed. */
import { spawn } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { sharedOut } from '../../../pipeline/run/cluster/size-arrays.ts';
import { buildFolio } from '../../../pipeline/run.ts';
import type { PlateTask } from '../../../pipeline/stages/plate/plate-task.ts';
import { CAMPAIGN, makeCampaign } from '../../fixtures/campaign/make-campaign.ts';
import { noSlurm, type OneNode, startOneNode } from '../../fixtures/slurm/one-node.ts';

const CLI = join(import.meta.dirname, '..', '..', '..', 'pipeline', 'cli.ts');
const why = noSlurm();
const PATIENCE_MS = 300_000;

describe.skipIf(why !== null)(`a build on Slurm${why ? ` (skipped: ${why})` : ''}`, () => {
  let work: string;
  let slurm: OneNode;
  beforeAll(async () => {
    work = mkdtempSync(join(tmpdir(), 'stratafolio-on-slurm-'));
    await makeCampaign(join(work, 'here'));
    // Without the drawing: placing and comparing take the same way as what is left, and longer.
    writeFileSync(join(work, 'here', 'campaign.yaml'), CAMPAIGN.replace(/chip:.*/, 'chip: { name: Bars }'));
    cpSync(join(work, 'here'), join(work, 'there'), { recursive: true });
    slurm = await startOneNode();
  }, PATIENCE_MS);
  afterAll(async () => {
    await slurm?.stop();
    rmSync(work, { recursive: true, force: true });
  }, PATIENCE_MS);

  const manifest = (name: string) => readFileSync(join(work, name, 'folio', 'data', 'manifest.json'), 'utf8');

  /** Calls back for every line that the build says, with what stands in brackets in the pattern. */
  async function build(pattern: RegExp, onLine: (found: string, kill: () => void) => void) {
    const child = spawn(
      ...([
        process.execPath,
        [CLI, 'build', join(work, 'there'), '--data-only', '--engine', 'slurm'],
      ] as const),
      { env: slurm.env, stdio: ['ignore', 'pipe', 'pipe'] },
    );
    let said = '';
    let waiting = '';
    child.stdout.on('data', (text) => {
      said += text;
    });
    child.stderr.on('data', (text) => {
      said += text;
      const lines = (waiting + text).split('\n');
      waiting = lines.pop()!;
      for (const line of lines) {
        const found = pattern.exec(line);
        if (found) onLine(found[1]!, () => child.kill('SIGKILL'));
      }
    });
    const status = await new Promise<number | null>((done) => child.on('exit', done));
    return { status, said };
  }

  it(
    'ends with the same bytes as one here, though it was killed, and its jobs were cancelled',
    async () => {
      await buildFolio(join(work, 'here'), { dataOnly: true, jobs: 1, progress: silentProgress });
      const plates = /^cluster plates .*job (\d+)/;
      const killed = await build(plates, (job, kill) => {
        kill();
        slurm.run('scancel', job);
      });
      expect(killed.status).toBeNull();
      expect(existsSync(join(work, 'there', 'folio'))).toBe(false);
      let handedIn = 0;
      const second = await build(plates, (job) => {
        if (handedIn++ === 0) slurm.run('scancel', job);
      });
      expect(second.said).toContain('Folio:');
      expect(second.status).toBe(0);
      // The cancelled array was handed in again.
      expect(handedIn).toBe(2);
      expect(second.said).toMatch(/Steps: 0 done/);
      expect(manifest('there')).toBe(manifest('here'));
      expect(slurm.run('squeue', '--noheader').trim()).toBe('');
    },
    PATIENCE_MS,
  );
});

describe('arrays', () => {
  const run = (pixels: number) => ({
    task: { grid: { width_px: pixels / 1000, height_px: 1000 }, zUm: [0] } as unknown as PlateTask,
  });

  it('give a task about a minute of work, keep the order and stay below the usual limit', () => {
    const small = sharedOut(Array.from({ length: 10 }, () => run(1e6)));
    expect(small).toHaveLength(1);
    const runs = Array.from({ length: 5000 }, () => run(2e8));
    const large = sharedOut(runs);
    expect(large).toHaveLength(1000);
    expect(large.flat()).toEqual(runs);
    expect(Math.max(...large.map((share) => share.length))).toBe(5);
  });
});
