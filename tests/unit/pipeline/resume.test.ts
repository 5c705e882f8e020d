/** Builds that go on: killed at seeded moments, changed a little, deleted from; all against undisturbed builds. */
import { spawn, spawnSync } from 'node:child_process';
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { hostname, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { lockBuild } from '../../../pipeline/engine/build-lock.ts';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { buildFolio } from '../../../pipeline/run.ts';
import { CAMPAIGN, makeCampaign, sliceFile } from '../../fixtures/campaign/make-campaign.ts';
import { generator } from '../../fixtures/random.ts';

const CLI = join(import.meta.dirname, '..', '..', '..', 'pipeline', 'cli.ts');
const CACHE = '.stratafolio-cache';
vi.setConfig({ testTimeout: 180_000 });

let work: string;
let model: string;

beforeAll(async () => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-resume-'));
  model = join(work, 'model');
  await makeCampaign(model);
  // Without the drawing: the steps that need it are the slow ones, and are kept in the same way.
  writeFileSync(join(model, 'campaign.yaml'), CAMPAIGN.replace(/chip:.*/, 'chip: { name: Bars }'));
});
afterAll(() => rmSync(work, { recursive: true, force: true }));

let copies = 0;
function copyOfModel(): string {
  const folder = join(work, `copy${copies++}`);
  cpSync(model, folder, { recursive: true });
  return folder;
}

/** Steps done and steps kept of a build that must succeed. */
const build = async (folder: string, force = false) =>
  (await buildFolio(folder, { dataOnly: true, jobs: 1, force, progress: silentProgress })).steps;

/** The manifest holds the SHA-256 of every file: equal manifests are equal folios. */
const manifest = (folder: string): string =>
  readFileSync(join(folder, 'folio', 'data', 'manifest.json'), 'utf8');

const entries = (folder: string): string[] => readdirSync(join(folder, CACHE, 'steps')).sort();

let undisturbed: string;

describe('a build', () => {
  it('does nothing twice, and the same again after --force', async () => {
    const folder = copyOfModel();
    const first = await build(folder);
    expect(first.found).toBe(0);
    expect(first.made).toBeGreaterThan(4);
    undisturbed = manifest(folder);
    expect(await build(folder)).toEqual({ made: 0, found: first.made });
    expect(manifest(folder)).toBe(undisturbed);
    expect(await build(folder, true)).toEqual({ made: first.made, found: 0 });
    expect(manifest(folder)).toBe(undisturbed);
    // What stays in the cache is what the last build used, and nothing half-made.
    expect(readdirSync(join(folder, CACHE)).sort()).toEqual(['index', 'steps']);
    expect(entries(folder)).toHaveLength(first.made);

    // A file of the folio and the one in the cache may be the same file: an edit must not come back.
    const plate = join(folder, 'folio', 'data', 'fine', 'plates', '0003_files', '6', '0_0.webp');
    const scrawl = Buffer.alloc(statSync(plate).size, 7);
    writeFileSync(plate, scrawl);
    expect((await build(folder)).made).toBeGreaterThan(0);
    expect(manifest(folder)).toBe(undisturbed);
    expect(readFileSync(plate).equals(scrawl)).toBe(false);
  });

  it('goes on after SIGKILL at seeded moments, and ends with the same bytes', async () => {
    const folder = copyOfModel();
    const random = generator(20261126);
    let killed = 0;
    for (let round = 0; round < 3; round++) {
      const child = spawn(process.execPath, [CLI, 'build', folder, '--data-only', '--jobs', '1'], {
        stdio: ['ignore', 'ignore', 'pipe'],
      });
      const over = new Promise((done) => child.on('exit', (_, signal) => done(signal)));
      // From the first sign of work on, so that a slow machine is not killed before it began.
      const working = new Promise((done) => child.stderr.once('data', done));
      await Promise.race([working, over]);
      await sleep(10 + 150 * random());
      child.kill('SIGKILL');
      if ((await over) === 'SIGKILL') killed++;
    }
    expect(killed).toBeGreaterThan(0);
    await build(folder);
    expect(manifest(folder)).toBe(undisturbed);
    expect(readdirSync(folder).filter((name) => name.startsWith('folio'))).toEqual(['folio']);
    expect(readdirSync(join(folder, CACHE)).sort()).toEqual(['index', 'steps']);
  });

  it('redoes only the runs of plates that a replaced slice is in', async () => {
    const folder = copyOfModel();
    await build(folder);
    const runs = () => entries(folder).filter((name) => name.startsWith('plate-run.'));
    const before = runs();
    expect(before.length).toBe(2);
    // Slices run from the top down, plates from the bottom up: slice 1 is in the last run only. Two bytes behind the
    // picture change the file and not the image.
    appendFileSync(join(folder, sliceFile(1)), Buffer.alloc(2));
    await build(folder);
    expect(runs().filter((name) => before.includes(name))).toHaveLength(1);
    // Another picture in it.
    cpSync(join(folder, sliceFile(9)), join(folder, sliceFile(1)));
    await build(folder);
    const redone = manifest(folder);
    expect(redone).not.toBe(undisturbed);
    await build(folder, true);
    expect(manifest(folder)).toBe(redone);
  });
});

describe('a slice that changes while it is read', () => {
  it('stops the build, and nothing that was made of it is kept', async () => {
    const folder = copyOfModel();
    const progress = {
      ...silentProgress,
      bar: (label: string) => {
        // The checksums have been taken, the plates not yet begun.
        if (label.startsWith('plates'))
          cpSync(join(folder, sliceFile(9)), join(folder, sliceFile(1)), { force: true });
        return { advance() {}, finish() {} };
      },
    };
    await expect(buildFolio(folder, { dataOnly: true, jobs: 1, progress })).rejects.toThrow(
      'files that stay as they are',
    );
    expect(entries(folder)).toEqual([]);
    expect(existsSync(join(folder, 'folio'))).toBe(false);
  });
});

describe('two builds at once', () => {
  const lock = (folder: string, holder: object) => {
    mkdirSync(join(folder, CACHE), { recursive: true });
    writeFileSync(join(folder, CACHE, 'lock'), JSON.stringify(holder));
  };
  const since = '2026-01-01T00:00:00.000Z';

  it('are refused, with the number of the process', async () => {
    const folder = copyOfModel();
    lock(folder, { pid: process.pid, host: hostname(), started: null, since });
    await expect(build(folder)).rejects.toThrow(`process ${process.pid} on ${hostname()}`);
    expect(existsSync(join(folder, 'folio'))).toBe(false);
    lock(folder, { pid: 1, host: 'another-machine', started: null, since });
    await expect(build(folder)).rejects.toThrow('another-machine');
  });

  it('a lock whose holder is gone, or whose number another process has now, is taken over', async () => {
    const file = join(work, 'lock');
    const take = async (holder: object | string) => {
      writeFileSync(file, typeof holder === 'string' ? holder : JSON.stringify(holder));
      await (await lockBuild(file, work)).release();
      expect(existsSync(file)).toBe(false);
    };
    const gone = spawnSync(process.execPath, ['-e', '0']).pid;
    await take({ pid: gone, host: hostname(), started: null, since });
    await take('{"pid": 12');
    if (process.platform === 'linux') await take({ pid: process.pid, host: hostname(), started: '1', since });
    writeFileSync(file, JSON.stringify({ pid: 1, host: 'another-machine', started: null, since }));
    const longAgo = new Date(Date.now() - 3_600_000);
    utimesSync(file, longAgo, longAgo);
    await (await lockBuild(file, work)).release();
  });
});
