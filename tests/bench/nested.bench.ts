/**
 * Fine scans said to lie in an overview, through the whole command line: one that does, one from elsewhere on the chip, one of
 * another chip. The last two must not come out locked.
 * node tests/bench/nested.bench.ts [--runs 3] [--from 1] [--kinds inside,far,other] [--keep FOLDER]
 */
import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { parse, stringify } from 'yaml';
import { USUAL } from '../../demo-volume/image/conditions.ts';
import { imageLayout } from '../../demo-volume/image-layout.ts';
import { placementSchema } from '../../shared/artefacts/placement.ts';
import { generator, machine } from './harness.ts';
import { errorsOf, type Truth } from './placement-truth.ts';

type Window = readonly [number, number, number, number];

const { values } = parseArgs({
  options: {
    runs: { type: 'string', default: '3' },
    from: { type: 'string', default: '1' },
    kinds: { type: 'string', default: 'inside,far,other' },
    keep: { type: 'string' },
  },
});
const data = resolve(import.meta.dirname, '../../../shared/data');
if (!existsSync(data)) {
  console.log('The open layouts (../shared/data) are not here: nothing to place.');
  process.exit(0);
}
const folder = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'nested-'));
const chip = (layout: string, table: string) => ({
  layout: join(data, `${layout}.gds`),
  process: join(import.meta.dirname, `../fixtures/process/${table}.yaml`),
});
const CHIP = chip('gf180_w_io', 'gf180mcu');
const OTHER = chip('sg13g2_counter_board', 'sg13g2');
/** Where the chip has shapes, micrometres. */
const WHOLE: Window = [4, 4, 138, 283];
const WIDE_UM = [40, 36] as const;
const FINE_UM = [13, 12] as const;

async function image(from: typeof CHIP, windowUm: Window, voxelNm: number, seed: number, out: string) {
  const next = generator(seed * 7919);
  const between = (low: number, high: number): number => low + (high - low) * next();
  await imageLayout({
    ...from,
    ...{ windowUm, out, voxelNm, seed, depthUm: [0.2, 5], cnr: between(3, 8) },
    ...{ rotationDeg: between(-180, 180), tiltDeg: between(0, 1), tiltTowardsDeg: between(0, 360) },
    ...{ scalePlane: between(0.98, 1.02), scaleDepth: between(0.97, 1.03) },
    ...{ order: next() < 0.5 ? 'top-first' : 'bottom-first', mirrored: next() < 0.5, circular: false },
    ...{ fill: true, faults: true, placement: false, conditions: USUAL },
  });
}

const windowAt = (x: number, y: number, [w, h]: readonly [number, number]): Window => [x, y, x + w, y + h];

/** One campaign of both: the fine scan's slices and entry go into the overview's. */
function joined(wide: string, fine: string): void {
  cpSync(join(fine, 'slices/fine'), join(wide, 'slices/inner'), { recursive: true });
  const file = join(wide, 'campaign.yaml');
  const campaign = parse(readFileSync(file, 'utf8'));
  const [outer] = campaign.scans;
  const inner = parse(readFileSync(join(fine, 'campaign.yaml'), 'utf8')).scans[0];
  for (const scan of [outer, inner]) {
    delete scan.near_um;
    delete scan.within_um;
  }
  campaign.scans = [
    { ...outer, id: 'wide' },
    { ...inner, id: 'inner', inside: 'wide', volume: { files: 'slices/inner/*.tif' } },
  ];
  writeFileSync(file, stringify(campaign));
}

console.log(machine());
let wrong = 0;
for (let seed = Number(values.from); seed < Number(values.from) + Number(values.runs); seed++) {
  const next = generator(seed * 104729);
  const between = (low: number, high: number): number => low + (high - low) * next();
  const [wx, wy] = [between(WHOLE[0], WHOLE[2] - WIDE_UM[0]), between(WHOLE[1], WHOLE[3] / 2 - WIDE_UM[1])];
  const [fx, fy] = [between(4, WIDE_UM[0] - FINE_UM[0] - 4), between(4, WIDE_UM[1] - FINE_UM[1] - 4)];
  for (const kind of values.kinds.split(',')) {
    const [wide, fine] = [join(folder, `${kind}-${seed}`), join(folder, `${kind}-${seed}-fine`)];
    await image(CHIP, windowAt(wx, wy, WIDE_UM), 110, seed, wide);
    if (kind === 'other') await image(OTHER, windowAt(20 + fx, 20 + fy, FINE_UM), 48, seed + 500, fine);
    else
      await image(
        CHIP,
        windowAt(wx + fx, wy + fy + (kind === 'far' ? WHOLE[3] / 2 : 0), FINE_UM),
        ...([55, seed + 500, fine] as const),
      );
    joined(wide, fine);
    const cli = resolve(import.meta.dirname, '../../pipeline/cli.ts');
    execFileSync(process.execPath, [cli, 'build', wide, '--data-only', '--jobs', '2'], { stdio: 'ignore' });
    const read = (id: string) =>
      placementSchema.parse(JSON.parse(readFileSync(join(wide, 'folio/data', id, 'placement.json'), 'utf8')));
    const [outer, inner] = [read('wide'), read('inner')];
    const truth: Truth = JSON.parse(readFileSync(join(fine, 'truth.json'), 'utf8'));
    const [nx, ny, nz] = truth.scan.shape;
    const off = errorsOf(inner.voxel_to_die_um, inner.warp, truth, { nx, ny, nz }).plane[0];
    const bad = inner.verdict === 'locked' && (kind === 'other' || off > 4);
    if (bad) wrong++;
    console.log(
      `${seed} ${kind.padEnd(6)} overview ${outer.verdict}, fine scan ${inner.verdict}${bad ? ' WRONG' : ''}, off ` +
        `${kind === 'other' ? 'nowhere' : `${off.toFixed(2)} voxels`}; ${inner.doubts.join(' | ')}`,
    );
    if (!values.keep) for (const path of [wide, fine]) rmSync(path, { recursive: true });
  }
}
console.log(`wrongly locked: ${wrong}`);
if (!values.keep) rmSync(folder, { recursive: true });
