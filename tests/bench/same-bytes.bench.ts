/**
 * Whether two builds of one campaign, pages and all, are the same bytes: in folders of different names and depths, by
 * different numbers of threads, with another home, time zone and language, from files with other times; and whether
 * either place, user or host is told anywhere in them. `node tests/bench/same-bytes.bench.ts [campaign]`
 */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, utimesSync } from 'node:fs';
import { hostname, tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { makeCampaign } from '../fixtures/campaign/make-campaign.ts';

const CLI = join(import.meta.dirname, '..', '..', 'pipeline', 'cli.ts');
const work = mkdtempSync(join(tmpdir(), 'stratafolio-same-'));

function filesOf(folder: string): Map<string, Buffer> {
  const files = readdirSync(folder, { recursive: true, withFileTypes: true }).filter((one) => one.isFile());
  return new Map(
    files
      .map((one) => join(one.parentPath, one.name))
      .sort()
      .map((path) => [relative(folder, path), readFileSync(path)]),
  );
}

function build(campaign: string, out: string, jobs: number, env: Record<string, string>): void {
  const { status, stderr } = spawnSync(
    process.execPath,
    [CLI, 'build', campaign, '--out', out, '--jobs', `${jobs}`],
    { encoding: 'utf8', env: { ...process.env, ...env } },
  );
  if (status !== 0) throw new Error(stderr);
}

try {
  const given = process.argv[2];
  const first = join(work, 'one');
  const second = join(work, 'another place', 'deeper', 'zwei');
  for (const folder of [first, second]) {
    mkdirSync(folder, { recursive: true });
    if (given)
      cpSync(given, folder, { recursive: true, filter: (path) => !/\/(folio|\.strata[^/]*)$/.test(path) });
    else await makeCampaign(folder);
  }
  for (const file of readdirSync(second, { recursive: true, withFileTypes: true }))
    utimesSync(join(file.parentPath, file.name), 86_400, 86_400);
  const homes = [join(work, 'home-a'), join(work, 'home-b')];
  const [a, b] = [join(work, 'folio-a'), join(second, 'folio')];
  build(first, a, 1, { HOME: homes[0]!, TZ: 'UTC', LANG: 'C', USER: 'user-of-a' });
  build(second, b, 2, { HOME: homes[1]!, TZ: 'Asia/Tokyo', LANG: 'de_DE.UTF-8', USER: 'user-of-b' });
  const [left, right] = [filesOf(a), filesOf(b)];
  const faults: string[] = [];
  for (const name of new Set([...left.keys(), ...right.keys()])) {
    const [one, other] = [left.get(name), right.get(name)];
    if (!one || !other) faults.push(`${name}: only in the ${one ? 'first' : 'second'}`);
    else if (!one.equals(other))
      faults.push(`${name}: ${one.length} and ${other.length} bytes, not the same`);
  }
  const told = [work, 'another place', 'user-of-a', 'user-of-b', join(import.meta.dirname, '..', '..')];
  if (hostname().length > 6) told.push(hostname());
  for (const files of [left, right])
    for (const [name, bytes] of files)
      for (const word of told) if (bytes.includes(word)) faults.push(`${name}: tells "${word}"`);
  const pages = [...left.keys()].filter((name) => name.endsWith('.html')).length;
  const megabytes = [...left.values()].reduce((sum, bytes) => sum + bytes.length, 0) / 1e6;
  console.log(`${left.size} files, ${pages} pages, ${megabytes.toFixed(1)} MB`);
  console.log(faults.length === 0 ? 'all the same, and nothing told' : faults.join('\n'));
  process.exitCode = faults.length === 0 ? 0 : 1;
} finally {
  rmSync(work, { recursive: true, force: true });
}
