/**
 * Cases of the placement benchmark through the whole command line: `stratafolio build --data-only`, then its
 * placement.json and layers.json against the truth.
 * node tests/bench/placement-build.bench.ts --seeds 36,5001 [--keep FOLDER] [--each]
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { parse, stringify } from 'yaml';
import { layersSchema } from '../../shared/artefacts/layers.ts';
import { placementSchema } from '../../shared/artefacts/placement.ts';
import { machine } from './harness.ts';
import { type Case, drawCase } from './placement-cases.ts';
import { image } from './placement-run.ts';
import { errorsOf, heightsAgainst, type Truth } from './placement-truth.ts';

const { values } = parseArgs({
  options: {
    seeds: { type: 'string', default: '36' },
    keep: { type: 'string' },
    each: { type: 'boolean', default: false },
  },
});
const data = resolve(import.meta.dirname, '../../../shared/data');
if (!existsSync(data)) {
  console.log('The open layouts (../shared/data) are not here: nothing to build.');
  process.exit(0);
}
const folder = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'placement-build-'));
console.log(machine());
for (const seed of values.seeds.split(',').map(Number)) {
  const drawn = drawCase(seed, data);
  const out = join(folder, `case-${seed}`);
  if (!existsSync(out)) await image(drawn, out);
  hint(drawn, out);
  const cli = resolve(import.meta.dirname, '../../pipeline/cli.ts');
  execFileSync(process.execPath, [cli, 'build', out, '--data-only', '--jobs', '2'], { stdio: 'ignore' });
  report(drawn, out);
  if (!values.keep) rmSync(out, { recursive: true });
}
if (!values.keep) rmSync(folder, { recursive: true });

/** The region of the case as a hint, or none. */
function hint({ centresUm }: Case, out: string): void {
  const file = join(out, 'campaign.yaml');
  const campaign = parse(readFileSync(file, 'utf8'));
  const [scan] = campaign.scans;
  delete scan.near_um;
  delete scan.within_um;
  if (centresUm) {
    const [x0, y0, x1, y1] = centresUm;
    scan.near_um = [(x0 + x1) / 2, (y0 + y1) / 2];
    scan.within_um = Math.max(x1 - x0, y1 - y0) / 2;
  }
  writeFileSync(file, stringify(campaign));
}

function report(drawn: Case, out: string): void {
  const json = (name: string): unknown =>
    JSON.parse(readFileSync(join(out, 'folio/data/fine', name), 'utf8'));
  const placement = placementSchema.parse(json('placement.json'));
  const layers = layersSchema.parse(json('layers.json'));
  const truth: Truth = JSON.parse(readFileSync(join(out, 'truth.json'), 'utf8'));
  const [nx, ny, nz] = truth.scan.shape;
  const shape = { nx, ny, nz };
  const voxelUm = drawn.voxelNm / 1000;
  const { plane, depth, middle } = errorsOf(placement.voxel_to_die_um, placement.warp, truth, shape);
  const { facesVoxels, plates } = heightsAgainst(layers, truth, shape, voxelUm);
  const u = placement.uncertainty_um;
  const sigmas = u ? middle.map((v, n) => ((v * voxelUm) / [u.x, u.y, u.z][n]!).toFixed(1)).join(' ') : '-';
  console.log(
    `${seedName(drawn)} ${placement.verdict} off ${plane[0].toFixed(2)}/${plane[1].toFixed(2)} deep ${depth[0].toFixed(2)} ` +
      `${placement.warp ? 'bent ' : ''}sigma ${sigmas} faces ${facesVoxels.map((v) => v.toFixed(1)).join(' ')} ` +
      `plates ${plates.join('/')} ${layers.basis} ${placement.doubts.join(' | ')}`,
  );
  if (!values.each) return;
  for (const layer of layers.layers) {
    const made = truth.layers.find((l) => l.name === layer.name);
    const off = (found: number, real: number | undefined): string =>
      real === undefined ? '?' : ((found - real) / voxelUm).toFixed(2);
    console.log(
      `   ${layer.name.padEnd(10)} ${layer.seen.padEnd(8)} ${layer.heights_from?.padEnd(10)} ` +
        `bottom ${layer.bottom_um.toFixed(3)} off ${off(layer.bottom_um, made?.bottom_um)} ` +
        `(sd ${((layer.bottom_sd_um ?? 0) / voxelUm).toFixed(2)}), top ${layer.top_um.toFixed(3)} off ` +
        `${off(layer.top_um, made?.top_um)} (sd ${((layer.top_sd_um ?? 0) / voxelUm).toFixed(2)})`,
    );
  }
}

function seedName({ seed, kind, layout, cnr }: Case): string {
  return `${seed} ${kind} ${layout} cnr ${cnr.toFixed(1)}`;
}
