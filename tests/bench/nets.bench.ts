/**
 * Time and memory of tracing nets: 50 000 shapes over the eleven layers of the demo's process, wires on tracks and vias
 * at their crossings, in a window of 40 x 40 um. Beside it the demo generator's own netlist checker, which finds
 * neighbours by bins and touches by the plainest means, on the same shapes; both must count the same conductors.
 * Run by hand: node tests/bench/nets.bench.ts
 */
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { findConductors } from '../../demo-volume/layout/connectivity.ts';
import { readStack } from '../../demo-volume/process-stack.ts';
import { openLayout } from '../../pipeline/formats/layout/registry.ts';
import { renderCoverage } from '../../pipeline/kernels/coverage.ts';
import { silentProgress } from '../../pipeline/output/progress.ts';
import { connectDrawing } from '../../pipeline/stages/connect/connect-drawing.ts';
import { faultsFromFindings } from '../../pipeline/stages/connect/faults-from-findings.ts';
import { imageNets } from '../../pipeline/stages/connect/image-nets.ts';
import { writeNets } from '../../pipeline/stages/connect/write-nets.ts';
import type { Findings } from '../../shared/artefacts/findings.ts';
import { processSchema } from '../../shared/artefacts/process.ts';
import { readYaml } from '../../shared/artefacts/read.ts';
import { gridBoxUm, type PlateGrid } from '../../shared/frames.ts';
import { writeGdsii } from '../fixtures/layout/gdsii-writer.ts';
import { generator, machine, race, spread } from './harness.ts';

const SIDE_NM = 40_000;
const SHAPES = 50_000;
const ROUNDS = 5;
const PROCESS = join(import.meta.dirname, '..', '..', 'demo-volume', 'process.yaml');

interface Drawn {
  readonly drawn: string;
  readonly ring: readonly number[];
}

/** Conductors take turns in their direction; every fifth wire has a jog, so that it is no rectangle. */
function drawing(layers: readonly { role: string; drawn: readonly string[] }[]): Drawn[] {
  const random = generator(4);
  const below = (n: number) => Math.floor(random() * n);
  const box = (x0: number, y0: number, x1: number, y1: number) => [x0, y0, x1, y0, x1, y1, x0, y1];
  const found: Drawn[] = [];
  const pitch = 400;
  for (let n = 0; found.length < SHAPES; n++) {
    const place = n % layers.length;
    const { role, drawn } = layers[place]!;
    const [x, y] = [pitch * below(SIDE_NM / pitch), pitch * below(SIDE_NM / pitch)];
    if (role === 'via') found.push({ drawn: drawn[0]!, ring: box(x, y, x + 200, y + 200) });
    else {
      const long = pitch * (1 + below(6)) + 200;
      const lying = place % 4 === 0;
      const jog = [x, y, x + long, y, x + long, y + 200, x + 200, y + 200, x + 200, y + 600, x, y + 600];
      const straight = lying ? box(x, y, x + long, y + 200) : box(x, y, x + 200, y + long);
      found.push({ drawn: drawn[0]!, ring: below(5) === 0 ? jog : straight });
    }
  }
  return found;
}

const process_ = readYaml(readFileSync(PROCESS, 'utf8'), 'process.yaml', processSchema);
const stack = readStack(PROCESS);
const shapes = drawing(stack.layers);
const folder = mkdtempSync(join(tmpdir(), 'stratafolio-bench-'));
try {
  const file = join(folder, 'wires.gds');
  const model = shapes.map(({ drawn, ring }) => {
    const [layer, datatype] = drawn.split('/').map(Number) as [number, number];
    const plain = { width: 0, begin: 0, end: 0, repeats: undefined };
    return { kind: 'polygon' as const, layer, datatype, xy: ring, ...plain };
  });
  writeFileSync(file, writeGdsii([{ name: 'WIRES', shapes: model, references: [], labels: [] }]));
  const { layout, top } = await openLayout(file);
  const pixel = SIDE_NM / 1e6;
  const grid: PlateGrid = {
    origin_um: [pixel / 2, SIDE_NM / 1000 - pixel / 2],
    pixel_um: pixel,
    width_px: 1000,
    height_px: 1000,
  };
  const rings = new Map<string, (readonly number[])[]>();
  for (const { drawn, ring } of shapes) {
    const list = rings.get(drawn) ?? [];
    list.push(ring.map((v) => v / 1000));
    rings.set(drawn, list);
  }
  const flat = { rings, labels: [] } as unknown as Parameters<typeof findConductors>[0];
  const trace = () => connectDrawing(layout, top, process_, gridBoxUm(grid));
  const before = process.memoryUsage().rss;
  const drawn = trace();
  const peer = findConductors(flat, stack.layers);
  const count = new Set(peer.conductor).size;
  console.log(machine());
  console.log(
    `${drawn.store.count} shapes, ${drawn.contacts.pairs} joined pairs; nets: ${drawn.nets.length}, the generator's checker: ${count}` +
      ' (which joins corners too)',
  );

  const vias = shapes.filter(({ drawn: d }) => d === '31/0').slice(0, 200);
  const findings = vias.map(({ ring }, n): Findings['findings'][number] => {
    const [x0, y0, x1, y1] = [ring[0]!, ring[1]!, ring[4]!, ring[5]!].map((v) => v / 1000) as [
      number,
      number,
      number,
      number,
    ];
    return {
      ...{ id: `F${String(n).padStart(4, '0')}`, kind: 'missing-via', layer: 'via1', note: '', nets: [] },
      ...{
        centre_um: [(x0 + x1) / 2, (y0 + y1) / 2],
        box_um: [x0, y0, x1, y1],
        area_um2: 0.04,
        probability: 0.9,
      },
    };
  });
  const scan = {
    ...{ id: 'fine', grid, portraits: [], findings: null },
    layers: { version: 1 as const, basis: 'nominal' as const, layers: [], plates: [] },
    placement: { verdict: 'locked' as const },
  };
  const noise = generator(9);
  const portraits = new Map(
    stack.layers.map(({ name, drawn: pairs }) => {
      const outlines = rings.get(pairs[0]!) ?? [];
      const coverage = renderCoverage(outlines, grid);
      return [name, coverage.map((v) => 100 * v + 20 * (noise() + noise() + noise() - 1.5))] as const;
    }),
  );
  const times = await race(
    {
      'nets traced': () => void trace(),
      'the same, by the demo’s checker': () => void findConductors(flat, stack.layers),
      '200 missing vias applied': () => void faultsFromFindings(drawn, findings),
      'wires followed in the image': () => void imageNets(drawn, grid, (name) => portraits.get(name)),
      'files written': async () =>
        void (await writeNets(
          { drawn, whole: null },
          scan,
          layout,
          top,
          join(folder, 'out'),
          silentProgress,
        )),
    },
    ROUNDS,
  );
  for (const [name, time] of Object.entries(times)) console.log(`${name.padEnd(34)}${spread(time)}`);
  const rise = (process.memoryUsage().rss - before) / 1e6;
  console.log(
    `memory: ${(process.memoryUsage().rss / 1e6).toFixed(0)} MB in all, ${rise.toFixed(0)} MB more than before tracing`,
  );
  for (const part of ['tiles', 'shapes']) {
    const sizes = readdirSync(join(folder, 'out', 'nets', part)).map(
      (f) => statSync(join(folder, 'out', 'nets', part, f)).size,
    );
    sizes.sort((a, b) => a - b);
    console.log(
      `${part}: ${sizes.length} files, median ${(sizes[sizes.length >> 1]! / 1000).toFixed(1)} kB, largest ${(sizes.at(-1)! / 1000).toFixed(1)} kB`,
    );
  }
  console.log(`nets.json: ${(statSync(join(folder, 'out', 'nets.json')).size / 1e6).toFixed(2)} MB`);
} finally {
  rmSync(folder, { recursive: true });
}
