/**
 * GDSII reading against Debian's GDSIIConvert (package gdsiiconvert) on one generated file, in the same run.
 *
 *     node tests/bench/gdsii.bench.ts [megabytes, default 100] [runs, default 5]
 *
 * Both are timed as whole processes, start-up included, from a file in the page cache. GDSIIConvert opens out all
 * references while reading and cannot be kept from it; so that reading is what is compared, references make up only
 * a few per cent of the file and each brings a single shape. The checksum is over all stored coordinates, once as
 * generated and once as read.
 *
 * Windows of 10 x 10 um are then asked for over all drawn layers: the first question makes the index, and the shapes
 * that a window gives are counted once more without an index, by the box of every shape.
 */
import { execFileSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, rmSync, statSync, writeSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { shapesInWindow } from '../../pipeline/formats/layout/flatten.ts';
import { readGdsii } from '../../pipeline/formats/layout/gdsii.ts';
import type { DrawnLayer, Layout } from '../../pipeline/formats/layout.ts';
import { generator } from '../fixtures/random.ts';

const SEED = 20260219;

/** Writes records into a buffer that is flushed to a file when full. */
class RecordWriter {
  readonly #file: number;
  readonly #bytes = Buffer.alloc(1 << 20);
  #used = 0;
  written = 0;

  constructor(path: string) {
    this.#file = openSync(path, 'w');
  }

  record(type: number, values: readonly number[] = [], size = 0): void {
    if (this.#used + 4 + values.length * size > this.#bytes.length) this.flush();
    let at = this.#used;
    at = this.#bytes.writeUInt16BE(4 + values.length * size, at);
    at = this.#bytes.writeUInt16BE(type, at);
    for (const value of values) at = this.#bytes.writeIntBE(value, at, size);
    this.#used = at;
  }

  ascii(type: number, text: string): void {
    this.record(type, [...Buffer.from(text.length % 2 === 0 ? text : `${text}\0`)], 1);
  }

  flush(): void {
    this.written += writeSync(this.#file, this.#bytes, 0, this.#used);
    this.#used = 0;
  }

  close(): void {
    this.flush();
    closeSync(this.#file);
  }
}

/** Sum over coordinates that notices order: each counts with its number modulo a prime. */
class Checksum {
  value = 0;
  #count = 0;

  add(coordinate: number): void {
    this.value = (this.value + coordinate * (1 + (this.#count++ % 8191))) % 2 ** 48;
  }
}

/** A routed block: mostly boundaries of 4 to 12 vertices, wires, a few references and labels. */
function generate(path: string, bytes: number): Map<string, number> {
  const random = generator(SEED);
  const whole = (below: number) => Math.floor(random() * below);
  const out = new RecordWriter(path);
  const sums = new Map<string, Checksum>();
  const add = (kind: string, layer: number, xy: readonly number[]) => {
    const key = `${kind} ${layer}/0`;
    let sum = sums.get(key);
    if (sum === undefined) {
      sum = new Checksum();
      sums.set(key, sum);
    }
    for (const value of xy) sum.add(value);
  };
  const dates = [2026, 2, 19, 8, 0, 0, 2026, 2, 19, 8, 0, 0];
  out.record(0x0002, [600], 2);
  out.record(0x0102, dates, 2);
  out.ascii(0x0206, 'BENCH');
  out.record(
    0x0305,
    [0x3e, 0x41, 0x89, 0x37, 0x4b, 0xc6, 0xa7, 0xf0, 0x39, 0x44, 0xb8, 0x2f, 0xa0, 0x9b, 0x5a, 0x54].map(
      (b) => (b << 24) >> 24,
    ),
    1,
  );
  out.record(0x0502, dates, 2);
  out.ascii(0x0606, 'VIA');
  const via = [-95, -95, 95, -95, 95, 95, -95, 95];
  boundary(out, 19, via);
  out.record(0x0700);
  out.record(0x0502, dates, 2);
  out.ascii(0x0606, 'TOP');
  while (out.written < bytes) {
    const layer = 1 + whole(20);
    // Runs of one layer, as place-and-route programs write them.
    for (let run = 1 + whole(64); run > 0; run--) {
      const x = whole(4_000_000);
      const y = whole(4_000_000);
      const kind = random();
      if (kind < 0.8) {
        const steps = kind < 0.6 ? 1 : 1 + whole(5);
        const xy = staircase(x, y, steps, whole);
        boundary(out, layer, xy);
        add('polygon', layer, xy);
      } else if (kind < 0.95) {
        const xy = [x, y, x + whole(20_000), y];
        if (kind > 0.9) xy.push(xy[2], y + 1 + whole(20_000));
        out.record(0x0900);
        out.record(0x0d02, [layer], 2);
        out.record(0x0e02, [0], 2);
        out.record(0x2102, [2], 2);
        out.record(0x0f03, [200], 4);
        out.record(0x1003, xy, 4);
        out.record(0x1100);
        add('path', layer, xy);
      } else if (kind < 0.995) {
        out.record(0x0a00);
        out.ascii(0x1206, 'VIA');
        out.record(0x1003, [x, y], 4);
        out.record(0x1100);
      } else {
        out.record(0x0c00);
        out.record(0x0d02, [layer], 2);
        out.record(0x1602, [9], 2);
        out.record(0x1003, [x, y], 4);
        out.ascii(0x1906, `net_${whole(10_000)}`);
        out.record(0x1100);
      }
    }
  }
  out.record(0x0700);
  out.record(0x0400);
  out.close();
  return new Map([...sums].map(([key, sum]) => [key, sum.value]));
}

function staircase(x: number, y: number, steps: number, whole: (below: number) => number): number[] {
  const xy = [x, y];
  let right = x;
  let top = y;
  for (let n = 0; n < steps; n++) {
    right += 100 + whole(2000);
    xy.push(right, top);
    top += 100 + whole(2000);
    xy.push(right, top);
  }
  xy.push(x, top);
  return xy;
}

function boundary(out: RecordWriter, layer: number, xy: readonly number[]): void {
  out.record(0x0800);
  out.record(0x0d02, [layer], 2);
  out.record(0x0e02, [0], 2);
  out.record(0x1003, [...xy, xy[0], xy[1]], 4);
  out.record(0x1100);
}

function sumsOf(layout: Layout): Map<string, number> {
  const sums = new Map<string, number>();
  const top = layout.cells.get('TOP');
  for (const [kind, blocks] of [
    ['polygon', top?.polygons],
    ['path', top?.paths],
  ] as const) {
    for (const [drawn, { xy }] of blocks ?? []) {
      const sum = new Checksum();
      for (let n = 0; n < xy.length; n++) sum.add(xy[n]);
      sums.set(`${kind} ${drawn}`, sum.value);
    }
  }
  return sums;
}

function sameSums(a: ReadonlyMap<string, number>, b: ReadonlyMap<string, number>): boolean {
  return a.size === b.size && [...a].every(([key, value]) => b.get(key) === value);
}

interface Times {
  readonly median: number;
  readonly least: number;
  readonly most: number;
}

function time(runs: number, run: () => void): Times {
  run();
  const seconds: number[] = [];
  for (let n = 0; n < runs; n++) {
    const start = performance.now();
    run();
    seconds.push((performance.now() - start) / 1000);
  }
  seconds.sort((a, b) => a - b);
  return { median: seconds[runs >> 1], least: seconds[0], most: seconds[runs - 1] };
}

const show = ({ median, least, most }: Times): string =>
  `${median.toFixed(2)} s (${least.toFixed(2)} to ${most.toFixed(2)})`;

const WINDOWS = 200;
const WINDOW_UM = 10;

/** Times windows anywhere in the layout. */
async function timeWindows(file: string): Promise<void> {
  const layout = await readGdsii(file);
  const drawn = new Set(
    [...layout.cells.values()].flatMap((cell) => [...cell.polygons.keys(), ...cell.paths.keys()]),
  );
  const random = generator(SEED);
  const times: number[] = [];
  let first = 0;
  let shapes = 0;
  for (let n = 0; n <= WINDOWS; n++) {
    const [x, y] = [4000 * random(), 4000 * random()];
    const box = [x, y, x + WINDOW_UM, y + WINDOW_UM] as const;
    const from = performance.now();
    const found = [...shapesInWindow(layout, 'TOP', box, drawn)].length;
    const ms = performance.now() - from;
    if (n === 0) {
      first = ms;
      const slow = boxesInWindow(layout, drawn, box);
      if (slow !== found)
        throw new Error(`A window holds ${slow} shapes by their boxes, ${found} by the index.`);
    } else {
      times.push(ms);
      shapes += found;
    }
  }
  times.sort((a, b) => a - b);
  console.log(
    `windows of ${WINDOW_UM} x ${WINDOW_UM} um: the first, which makes the index, ${(first / 1000).toFixed(2)} s; ` +
      `${WINDOWS} more, ${(shapes / WINDOWS).toFixed(0)} shapes each: ${times[WINDOWS >> 1].toFixed(2)} ms ` +
      `(${times[0].toFixed(2)} to ${times.at(-1)?.toFixed(2)}); ` +
      `peak memory ${Math.round(process.resourceUsage().maxRSS / 1024)} MiB`,
  );
}

/** Shapes of the top cell and vias it places, by the box of each: every shape is looked at. */
function boxesInWindow(
  layout: Layout,
  drawn: ReadonlySet<DrawnLayer>,
  [x0, y0, x1, y1]: readonly [number, number, number, number],
): number {
  let count = 0;
  const meets = (left: number, low: number, right: number, high: number): boolean =>
    left / 1000 <= x1 && low / 1000 <= y1 && right / 1000 >= x0 && high / 1000 >= y0;
  const top = layout.cells.get('TOP')!;
  for (const layer of drawn) {
    for (const [block, half] of [
      [top.polygons.get(layer), 0],
      [top.paths.get(layer), 100],
    ] as const) {
      for (let n = 0; block && n + 1 < block.starts.length; n++) {
        const xy = block.xy.subarray(2 * block.starts[n], 2 * block.starts[n + 1]);
        const [xs, ys] = [xy.filter((_, i) => i % 2 === 0), xy.filter((_, i) => i % 2 === 1)];
        if (
          meets(
            Math.min(...xs) - half,
            Math.min(...ys) - half,
            Math.max(...xs) + half,
            Math.max(...ys) + half,
          )
        )
          count++;
      }
    }
  }
  const { transforms, count: references } = top.references;
  for (let n = 0; n < references; n++) {
    const [x, y] = [transforms[6 * n + 2], transforms[6 * n + 5]];
    if (meets(x - 95, y - 95, x + 95, y + 95)) count++;
  }
  return count;
}

async function main(): Promise<void> {
  const [megabytes = '100', runs = '5'] = process.argv.slice(2);
  if (megabytes === '--windows') {
    await timeWindows(runs);
    return;
  }
  if (megabytes === '--read') {
    await readGdsii(runs);
    console.log(Math.round(process.resourceUsage().maxRSS / 1024));
    return;
  }
  const folder = mkdtempSync(join(tmpdir(), 'gdsii-bench-'));
  try {
    const file = join(folder, 'bench.gds');
    const generated = generate(file, Number(megabytes) * 1e6);
    const read = sumsOf(await readGdsii(file));
    let peakMiB = '';
    const self = fileURLToPath(import.meta.url);
    const ours = time(Number(runs), () => {
      peakMiB = execFileSync(process.execPath, [self, '--read', file], { encoding: 'utf8' }).trim();
    });
    let peer: Times | undefined;
    try {
      peer = time(Math.min(3, Number(runs)), () => {
        execFileSync('GDSIIConvert', [file], { stdio: 'ignore', cwd: folder });
      });
    } catch (cause) {
      if ((cause as NodeJS.ErrnoException).code !== 'ENOENT') throw cause;
      console.log('GDSIIConvert is not installed (Debian package gdsiiconvert): no peer in this run.');
    }
    const machine = `${cpus().length} x ${cpus()[0].model}, Node ${process.versions.node}`;
    const size = (statSync(file).size / 1e6).toFixed(0);
    console.log('| file | readGdsii | peak memory | GDSIIConvert | ratio of medians | checksum | machine |');
    console.log('| --- | --- | --- | --- | --- | --- | --- |');
    console.log(
      `| ${size} MB, seed ${SEED} | ${show(ours)} | ${peakMiB} MiB | ${peer ? show(peer) : 'absent'} | ` +
        `${peer ? (peer.median / ours.median).toFixed(1) : ''} | ` +
        `${sameSums(generated, read) ? 'agrees' : 'DIFFERS'} | ${machine} |`,
    );
    console.log(execFileSync(process.execPath, [self, '--windows', file], { encoding: 'utf8' }).trim());
    if (!sameSums(generated, read)) process.exitCode = 1;
  } finally {
    rmSync(folder, { recursive: true });
  }
}

await main();
