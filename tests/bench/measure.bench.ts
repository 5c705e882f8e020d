/**
 * Whether the stated 95 % intervals hold: simulated scans of many seeds, measured, against the truth that the generator
 * wrote before it drew. node tests/bench/measure.bench.ts [seeds=8] [--first 11] [--fast] [--keep FOLDER]
 * Real layouts are added where they lie beside the repository; the demo alone where they do not.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import type { LayerMeasurements, Quantity } from '../../shared/artefacts/measurements.ts';
import { measureCampaign } from './measure-campaign.ts';
import { printedVia } from './printed-size.ts';

const ROOT = join(import.meta.dirname, '..', '..');
const DATA = join(ROOT, '..', 'shared', 'data');

interface TrueLayer {
  readonly name: string;
  readonly bias_per_edge_um: number;
  readonly corner_rounding_um: number;
  readonly offset_um: readonly [number, number];
}

interface Row {
  readonly what: string;
  readonly z: number;
  readonly inside: boolean;
  readonly errorPx: number;
}

function rowsOf(layer: LayerMeasurements, truth: TrueLayer, pixelUm: number): Row[] {
  const row = (what: string, q: Quantity | null, expected: number): Row[] =>
    q
      ? [
          {
            what,
            z: (q.value_um - expected) / q.uncertainty_um,
            inside: Math.abs(q.value_um - expected) <= q.expanded_um,
            errorPx: (q.value_um - expected) / pixelUm,
          },
        ]
      : [];
  const both = 2 * truth.bias_per_edge_um;
  return [
    ...layer.widths.flatMap((q) => row('width', q, q.drawn_um! + both)),
    ...layer.spaces.flatMap((q) => row('space', q, q.drawn_um! - both)),
    ...layer.pitches.flatMap((q) => row('pitch', q, q.drawn_um!)),
    ...layer.vias.flatMap((v) => [
      ...row('via size', v.x, printedVia(v.drawn_x_um, v.drawn_y_um, truth).x),
      ...row('via size', v.y, printedVia(v.drawn_y_um, v.drawn_x_um, truth).x),
      ...row('via by area', v.side, printedVia(v.drawn_x_um, v.drawn_y_um, truth).side),
    ]),
    ...row('outward', layer.edges?.outward ?? null, truth.bias_per_edge_um),
    ...row('shift', layer.edges?.shift_x ?? null, truth.offset_um[0]),
    ...row('shift', layer.edges?.shift_y ?? null, truth.offset_um[1]),
  ];
}

function make(...args: string[]): void {
  const { status, stderr } = spawnSync(process.execPath, args, { cwd: ROOT, encoding: 'utf8' });
  if (status !== 0) throw new Error(stderr);
}

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: {
    fast: { type: 'boolean', default: false },
    keep: { type: 'string' },
    first: { type: 'string', default: '11' },
  },
});
const seeds = Number(positionals[0] ?? 8);
const first = Number(values.first);
const work = values.keep ?? mkdtempSync(join(tmpdir(), 'stratafolio-measure-'));
mkdirSync(work, { recursive: true });
const campaigns: { name: string; make: (out: string) => void }[] = Array.from({ length: seeds }, (_, n) => ({
  name: `demo-${n + first}${values.fast ? '-fast' : ''}`,
  make: (out) =>
    make(
      'demo-volume/generate.ts',
      '--seed',
      String(n + first),
      '--out',
      out,
      ...(values.fast ? ['--fast'] : []),
    ),
}));
const layouts = [
  {
    ...{ file: 'sg13g2_counter_board.gds', process: 'sg13g2.yaml', voxel: 40 },
    windows: [
      [40, 40, 60, 56],
      [70, 60, 90, 76],
    ],
  },
  {
    ...{ file: 'gf180_w_io.gds', process: 'gf180mcu.yaml', voxel: 50 },
    windows: [
      [60, 100, 85, 120],
      [90, 60, 115, 80],
    ],
  },
];
for (const { file, process: table, windows, voxel } of layouts) {
  if (!existsSync(join(DATA, file))) continue;
  for (let n = 0; n < Math.max(1, Math.floor(seeds / 4)); n++)
    campaigns.push({
      name: `${file.replace('.gds', '')}-${n + first - 10}`,
      make: (out) =>
        make(
          ...['demo-volume/image-layout.ts', '--layout', join(DATA, file), '--out', out],
          ...[
            '--process',
            join(ROOT, 'tests', 'fixtures', 'process', table),
            '--window',
            windows[n % windows.length]!.join(),
          ],
          ...['--voxel-nm', String(voxel), '--seed', String(n + first - 10), '--no-faults'],
        ),
    });
}
const all: Row[] = [];
try {
  for (const campaign of campaigns) {
    const folder = join(work, campaign.name);
    if (!existsSync(folder))
      try {
        campaign.make(folder);
      } catch (error) {
        // Some seeds route a drawing with a short in it, which the generator refuses to image.
        if (!/is not clean/.test(String(error))) throw error;
        console.log(`${campaign.name}: left out, its drawing is not clean`);
        continue;
      }
    const { measured, pixelUm, seconds } = await measureCampaign(folder);
    const truth = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8')) as { layers: TrueLayer[] };
    const rows = measured.layers.flatMap((layer) => {
      const own = truth.layers.find((t) => t.name === layer.name);
      return own ? rowsOf(layer, own, pixelUm).map((r) => ({ ...r, layer: layer.name })) : [];
    });
    all.push(...rows);
    const far = rows
      .filter((r) => !r.inside)
      .map((r) => `${r.layer} ${r.what} ${r.z.toFixed(1)} (${r.errorPx.toFixed(2)} px)`);
    const inside = rows.filter((r) => r.inside).length;
    console.log(
      `${campaign.name}: ${inside} of ${rows.length} inside, ${seconds.toFixed(1)} s${far.length > 0 ? `; outside: ${far.join(', ')}` : ''}`,
    );
  }
} finally {
  if (!values.keep) rmSync(work, { recursive: true, force: true });
}
console.log('\n| quantity | n | inside 95 % | rms z | median error, px |\n| --- | --- | --- | --- | --- |');
for (const what of [...new Set(all.map((r) => r.what)), 'all']) {
  const rows = all.filter((r) => what === 'all' || r.what === what);
  const inside = (100 * rows.filter((r) => r.inside).length) / rows.length;
  const rms = Math.sqrt(rows.reduce((s, r) => s + r.z ** 2, 0) / rows.length);
  const errors = rows.map((r) => r.errorPx).sort((a, b) => a - b);
  console.log(
    `| ${what} | ${rows.length} | ${inside.toFixed(1)} % | ${rms.toFixed(2)} | ${errors[errors.length >> 1]!.toFixed(3)} |`,
  );
}
