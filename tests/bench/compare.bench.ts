/**
 * Time and memory of comparing: 50 000 shapes over the eleven layers of the demo's process on 1000 x 1000 pixels, with
 * images made apart from the pipeline's own imaging: nets traced and layers compared, then the self-test.
 * Run by hand: npm run bench:compare [-- --side 1000 --threads 2]
 */
import { execFileSync } from 'node:child_process';
import { appendFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { openLayout } from '../../pipeline/formats/layout/registry.ts';
import { compareScan } from '../../pipeline/stages/compare/compare-scan.ts';
import { traceWindow } from '../../pipeline/stages/connect/trace-window.ts';
import type { Layers } from '../../shared/artefacts/layers.ts';
import { processSchema } from '../../shared/artefacts/process.ts';
import { readYaml } from '../../shared/artefacts/read.ts';
import { gridBoxUm, type PlateGrid } from '../../shared/frames.ts';
import { writeGdsii } from '../fixtures/layout/gdsii-writer.ts';
import { portraitsOf, type Rectangle } from '../fixtures/synthetic-portraits.ts';
import { generator, machine } from './harness.ts';

const { values } = parseArgs({
  options: {
    ...{ side: { type: 'string', default: '1000' }, threads: { type: 'string', default: '2' } },
    ...{ images: { type: 'string' } },
  },
});
const side = Number(values.side);
const threads = Number(values.threads);
const pixel = 0.04;
const shapes = Math.round((50_000 * side * side) / 1e6);
const PROCESS = join(import.meta.dirname, '..', '..', 'demo-volume', 'process.yaml');
const stack = readYaml(readFileSync(PROCESS, 'utf8'), 'process.yaml', processSchema);

/** Wires on tracks, conductors in turn along x and y, vias at track crossings. */
function rectangles(): Rectangle[][] {
  const random = generator(4);
  const tracks = Math.floor((side * pixel) / 0.4);
  const below = (n: number): number => Math.floor(random() * n);
  return stack.layers.map((layer, n) =>
    Array.from({ length: Math.round(shapes / stack.layers.length) }, (): Rectangle => {
      const [x, y] = [0.4 * below(tracks), 0.4 * below(tracks)];
      if (layer.role === 'via') return [x, y, x + 0.2, y + 0.2];
      const long = 0.2 + 0.4 * (1 + below(6));
      return n % 4 === 0 ? [x, y, x + long, y + 0.2] : [x, y, x + 0.2, y + long];
    }),
  );
}

const drawn = rectangles();
/** Images of all layers one after the other, made by a process of their own: the memory that takes is not that of comparing. */
function makeImages(file: string): void {
  const images = portraitsOf(
    drawn.map((list, n) => ({ name: stack.layers[n]!.name, rectangles: list })),
    {
      ...{ side, pixelUm: pixel, blurPx: 0.9, noise: 1 / 3, contrast: 1000, halo: 0.5, ghost: 0.1 },
      ...{ seed: 5, wideningUm: 0.005 },
    },
  );
  for (const values of images) appendFileSync(file, new Uint8Array(values.buffer));
}

function readImages(file: string): Float32Array[] {
  execFileSync(process.execPath, [import.meta.filename, '--side', String(side), '--images', file]);
  const bytes = readFileSync(file);
  return drawn.map(
    (_, n) => new Float32Array(bytes.buffer, bytes.byteOffset + 4 * side * side * n, side * side),
  );
}

if (values.images) {
  makeImages(values.images);
  process.exit(0);
}
const folder = mkdtempSync(join(tmpdir(), 'stratafolio-bench-'));
try {
  const model = drawn.flatMap((list, n) => {
    const [layer, datatype] = stack.layers[n]!.drawn[0]!.split('/').map(Number) as [number, number];
    return list.map(([x0, y0, x1, y1]) => ({
      ...{ kind: 'polygon' as const, layer, datatype, width: 0, begin: 0, end: 0, repeats: undefined },
      xy: [x0, y0, x1, y0, x1, y1, x0, y1].map((v) => Math.round(v * 1000)),
    }));
  });
  const file = join(folder, 'wires.gds');
  writeFileSync(file, writeGdsii([{ name: 'WIRES', shapes: model, references: [], labels: [] }]));
  const { layout, top } = await openLayout(file);
  const grid: PlateGrid = {
    ...{ origin_um: [pixel / 2, (side - 0.5) * pixel], pixel_um: pixel, width_px: side, height_px: side },
  };
  const images = readImages(join(folder, 'images.raw'));
  const layers: Layers = {
    ...{ version: 1, basis: 'measured', plates: [] },
    layers: stack.layers.map((l) => ({
      ...{
        name: l.name,
        role: l.role,
        bottom_um: l.bottom_um,
        top_um: l.bottom_um + l.thickness_um,
        sd_um: 0.01,
      },
      ...{ nominal_bottom_um: l.bottom_um, nominal_top_um: l.bottom_um + l.thickness_um, confidence: 1 },
      seen: 'whole',
    })),
  };
  const input = {
    ...{ layout, top, process: stack, placement: { verdict: 'locked' as const }, layers, grid },
    portraits: images.map((v, n) => ({ name: stack.layers[n]!.name, values: v })),
  };
  console.log(
    `${machine()}, ${side} x ${side} px, ${drawn.flat().length} shapes, ${stack.layers.length} layers, ${threads} threads`,
  );
  const cpu = (): number => process.cpuUsage().user / 1e6;
  const time = async <T>(what: string, work: () => T | Promise<T>): Promise<T> => {
    const [wall, used] = [performance.now(), cpu()];
    const out = await work();
    const seconds = (performance.now() - wall) / 1000;
    console.log(`${what}: ${seconds.toFixed(1)} s, of the processor ${(cpu() - used).toFixed(1)} s`);
    return out;
  };
  const traced = await time('nets', () => traceWindow(layout, top, stack, gridBoxUm(grid)));
  const netsAt = (layer: string, boxUm: Parameters<typeof traced.drawn.netsAt>[1]): string[] =>
    traced.drawn.netsAt(layer, boxUm);
  await time('compare', () => compareScan({ ...input, netsAt, threads, selfTest: false }));
  const { selftest } = await time('compare and self-test', () => compareScan({ ...input, netsAt, threads }));
  console.log(`${selftest?.trials.reduce((sum, t) => sum + t.planted, 0)} edits planted`);
  console.log(`peak memory ${Math.round(process.resourceUsage().maxRSS / 1024)} MiB, images included`);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
