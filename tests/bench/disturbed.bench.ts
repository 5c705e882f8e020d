/**
 * Fifty builds killed at seeded random moments, ten on a disk that runs full: the older folio has to stay whole, and the
 * next build has to give the bytes of an undisturbed one. `node tests/bench/disturbed.bench.ts [kills] [full disks] [pages]`;
 * with the word `pages` the pages are made too, and killed in the making.
 */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import {
  buildOnFullDisk,
  buildWhole,
  faultsAt,
  killedBuild,
  kilobytesOf,
  manifestText,
} from '../fixtures/campaign/disturbed-builds.ts';
import { CAMPAIGN, makeCampaign } from '../fixtures/campaign/make-campaign.ts';
import { randomNumbers } from '../fixtures/layout/gdsii-random.ts';

const [kills = 50, disks = 10] = process.argv.slice(2, 4).map(Number);
const pages = process.argv[4] === 'pages';
const below = randomNumbers(8);
const work = mkdtempSync(join(tmpdir(), 'stratafolio-disturbed-'));
const faults: string[] = [];
try {
  const [first, second] = [join(work, 'first'), join(work, 'second')];
  for (const folder of [first, second]) {
    mkdirSync(folder);
    await makeCampaign(folder);
  }
  writeFileSync(join(second, 'campaign.yaml'), CAMPAIGN.replace('Three bars', 'Three bars, again'));
  const cache = (campaign: string) => join(campaign, '.stratafolio-cache');
  const whole = [join(work, 'whole-first'), join(work, 'whole-second')];
  const ms = Math.max(buildWhole(first, whole[0]!, pages), buildWhole(second, whole[1]!, pages));
  // Where the results of earlier builds are kept, a build takes a part of the time.
  const keptMs = buildWhole(first, whole[0]!, pages);
  const known = whole.map(manifestText);
  const folio = join(work, 'folio');
  buildWhole(first, folio, pages);
  let cut = 0;
  for (let n = 0; n < kills; n++) {
    const campaign = n % 2 === 0 ? second : first;
    // Half of them without what earlier builds kept: the long stages are cut too.
    const anew = n % 4 < 2;
    if (anew) rmSync(cache(campaign), { recursive: true, force: true });
    const most = Math.ceil(1.1 * (anew ? ms : keptMs));
    if (await killedBuild(campaign, folio, below(most), pages)) cut++;
    faults.push(...(await faultsAt(folio, known)).map((fault) => `kill ${n}: ${fault}`));
    buildWhole(campaign, folio, pages);
    if (manifestText(folio) !== known[campaign === first ? 0 : 1]) faults.push(`kill ${n}: other bytes`);
  }
  console.log(`${cut} of ${kills} builds were cut short by SIGKILL`);
  const room = kilobytesOf(whole[0]!);
  for (let n = 0; n < disks; n++) {
    rmSync(cache(second), { recursive: true, force: true });
    const size = room + 64 + below(Math.floor(room * 0.9));
    const got = await buildOnFullDisk(second, whole[0]!, join(work, 'mount'), size);
    if (!got) {
      console.log('no small file system can be mounted here');
      break;
    }
    if (got.status !== 1 || !/full disk/.test(got.stderr))
      faults.push(`disk ${n} (${size} kB): exit ${got.status}, ${got.stderr.slice(-300)}`);
    faults.push(...[...got.faults, ...got.left].map((fault) => `disk ${n}: ${fault}`));
  }
  console.log(faults.length === 0 ? 'no fault' : faults.join('\n'));
  process.exitCode = faults.length === 0 ? 0 : 1;
} finally {
  rmSync(work, { recursive: true, force: true });
}
