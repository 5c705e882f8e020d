/**
 * OASIS reading beside GDSII reading of the same shapes, and beside Debian's GDSIIConvert (package gdsiiconvert) on the
 * GDSII form, in the same run.
 *
 *     node tests/bench/oasis.bench.ts [thousand shapes, default 1000] [runs, default 5]
 *
 * The shapes are those of a routed block: rectangles, polygons of 6 to 12 vertices, wires, in runs of one drawn layer.
 * OASIS is written as place-and-route programs do, leaving out what repeats, once plain and once in CBLOCKs of 64 KiB.
 * Readers are timed as whole processes, start-up included, from files in the page cache; the checksum is over all
 * coordinates and has to be the same in all forms.
 */
import { execFileSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, rmSync, statSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { deflateRawSync } from 'node:zlib';
import { openLayout } from '../../pipeline/formats/layout/registry.ts';
import type { Layout } from '../../pipeline/formats/layout.ts';
import { generator, machine, race, spread } from './harness.ts';

const SEED = 20260219;
const BLOCK_BYTES = 64 * 1024;

/** Collects bytes and hands them to a file in pieces. */
class ByteWriter {
  readonly #file: number;
  readonly #bytes = Buffer.alloc(1 << 20);
  readonly #pack: ((bytes: Buffer) => Buffer) | undefined;
  readonly #limit: number;
  #used = 0;

  constructor(path: string, pack?: (bytes: Buffer) => Buffer) {
    this.#file = openSync(path, 'w');
    this.#pack = pack;
    this.#limit = pack === undefined ? this.#bytes.length - 1024 : BLOCK_BYTES;
  }

  /** To be called between records only. */
  flushIfFull(): void {
    if (this.#used > this.#limit) this.flush();
  }

  flush(packed = true): void {
    const bytes = this.#bytes.subarray(0, this.#used);
    if (bytes.length > 0) writeSync(this.#file, packed && this.#pack ? this.#pack(bytes) : bytes);
    this.#used = 0;
  }

  close(): void {
    this.flush(false);
    closeSync(this.#file);
  }

  hex(text: string): void {
    this.#used += this.#bytes.write(text.replaceAll(' ', ''), this.#used, 'hex');
  }

  int(value: number, size: 1 | 2 | 4): void {
    this.#used = this.#bytes.writeIntBE(value, this.#used, size);
  }

  byte(value: number): void {
    this.#bytes[this.#used++] = value;
  }

  unsigned(value: number): void {
    let left = value;
    for (; left > 127; left = Math.floor(left / 128)) this.#bytes[this.#used++] = (left & 127) | 128;
    this.#bytes[this.#used++] = left;
  }

  signed(value: number): void {
    this.unsigned(value < 0 ? -2 * value + 1 : 2 * value);
  }
}

interface Writer {
  rectangle(layer: number, x: number, y: number, w: number, h: number): void;
  /** Manhattan, horizontal edge first, from its lower left corner. */
  polygon(layer: number, xy: readonly number[]): void;
  /** Half-width ends. */
  wire(layer: number, width: number, xy: readonly number[]): void;
  close(): void;
}

const NO_DATES = '00'.repeat(24);

function gdsiiWriter(path: string): Writer {
  const out = new ByteWriter(path);
  out.hex(`0006000202 58 001C0102 ${NO_DATES} 00060206 4C00`);
  out.hex('00140305 3E4189374BC6A7F0 3944B82FA09B5A54');
  out.hex(`001C0502 ${NO_DATES} 00080606 544F5000`);
  const points = (layer: number, xy: readonly number[], isClosed: boolean) => {
    out.hex('00060D02');
    out.int(layer, 2);
    out.hex('00060E020000');
    return () => {
      out.int(4 + 4 * xy.length + (isClosed ? 8 : 0), 2);
      out.hex('1003');
      for (const value of xy) out.int(value, 4);
      if (isClosed) for (const value of xy.slice(0, 2)) out.int(value, 4);
      out.hex('00041100');
      out.flushIfFull();
    };
  };
  const polygon = (layer: number, xy: readonly number[]) => {
    out.hex('00040800');
    points(layer, xy, true)();
  };
  return {
    polygon,
    rectangle: (layer, x, y, w, h) => polygon(layer, [x, y, x + w, y, x + w, y + h, x, y + h]),
    wire(layer, width, xy) {
      out.hex('00040900');
      const rest = points(layer, xy, false);
      out.hex('000621020002 00080F03');
      out.int(width, 4);
      rest();
    },
    close() {
      out.hex('00040700 00040400');
      out.close();
    },
  };
}

function oasisWriter(path: string, isPacked: boolean): Writer {
  const out = new ByteWriter(path, isPacked ? packedBlock : undefined);
  out.hex('2553454D492D4F415349530D0A 01 03312E30 00E807 01');
  out.hex('0E 03544F50');
  out.flush(false);
  let layer = -1;
  let [w, h, width, lastX, lastY] = [-1, -1, -1, 0, 0];
  const start = (code: number, info: number, own: number) => {
    const layers = (own !== layer ? 1 : 0) | (layer < 0 ? 2 : 0);
    out.byte(code);
    out.byte(info | layers);
    if (own !== layer) out.unsigned(own);
    if (layer < 0) out.byte(0);
    layer = own;
  };
  const place = (info: number, x: number, y: number) => {
    if ((info & 16) !== 0) out.signed(x);
    if ((info & 8) !== 0) out.signed(y);
    [lastX, lastY] = [x, y];
    out.flushIfFull();
  };
  const placeInfo = (x: number, y: number) => (x !== lastX ? 16 : 0) | (y !== lastY ? 8 : 0);
  return {
    rectangle(own, x, y, nextW, nextH) {
      const info = placeInfo(x, y) | (nextW !== w ? 64 : 0) | (nextH !== h ? 32 : 0);
      start(20, info, own);
      if (nextW !== w) out.unsigned(nextW);
      if (nextH !== h) out.unsigned(nextH);
      [w, h] = [nextW, nextH];
      place(info, x, y);
    },
    polygon(own, xy) {
      const info = placeInfo(xy[0], xy[1]) | 32;
      start(21, info, own);
      out.byte(0);
      // One-dimensional steps, the last vertex left out.
      const steps = xy.length / 2 - 2;
      out.unsigned(steps);
      for (let n = 1; n <= steps; n++) {
        const axis = n % 2 === 1 ? 0 : 1;
        out.signed(xy[2 * n + axis] - xy[2 * n - 2 + axis]);
      }
      place(info, xy[0], xy[1]);
    },
    wire(own, nextWidth, xy) {
      const info = placeInfo(xy[0], xy[1]) | 32 | (nextWidth !== width ? 64 | 128 : 0);
      start(22, info, own);
      if (nextWidth !== width) {
        out.unsigned(nextWidth / 2);
        out.byte(10);
      }
      width = nextWidth;
      out.byte(0);
      out.unsigned(xy.length / 2 - 1);
      for (let n = 1; n < xy.length / 2; n++) {
        const axis = n % 2 === 1 ? 0 : 1;
        out.signed(xy[2 * n + axis] - xy[2 * n - 2 + axis]);
      }
      place(info, xy[0], xy[1]);
    },
    close() {
      out.flush();
      out.hex(`02 ${'00'.repeat(12)} F001 ${'00'.repeat(240)} 00`);
      out.close();
    },
  };
}

function packedBlock(bytes: Buffer): Buffer {
  const packed = deflateRawSync(bytes);
  const head: number[] = [34, 0];
  for (const size of [bytes.length, packed.length]) {
    let left = size;
    for (; left > 127; left >>= 7) head.push((left & 127) | 128);
    head.push(left);
  }
  return Buffer.concat([Buffer.from(head), packed]);
}

function generate(writers: readonly Writer[], shapes: number): void {
  const random = generator(SEED);
  const whole = (below: number) => Math.floor(random() * below);
  let left = shapes;
  while (left > 0) {
    const layer = 1 + whole(20);
    const track = 200 * whole(20_000);
    for (let run = 1 + whole(64); run > 0 && left > 0; run--, left--) {
      const x = whole(4_000_000);
      const y = random() < 0.3 ? track : whole(4_000_000);
      const kind = random();
      if (kind < 0.65) {
        const isVia = random() < 0.5;
        const [w, h] = isVia ? [190, 190] : [100 + whole(2000), 100 + whole(2000)];
        for (const writer of writers) writer.rectangle(layer, x, y, w, h);
      } else if (kind < 0.85) {
        const xy = [x, y];
        for (let n = 1 + whole(5), right = x, top = y; n > 0; n--) {
          right += 100 + whole(2000);
          xy.push(right, top);
          top += 100 + whole(2000);
          xy.push(right, top);
        }
        xy.push(x, xy[xy.length - 1]);
        for (const writer of writers) writer.polygon(layer, xy);
      } else {
        const xy = [x, y, x + 1 + whole(20_000), y];
        if (kind > 0.95) xy.push(xy[2], y + 1 + whole(20_000));
        for (const writer of writers) writer.wire(layer, 200, xy);
      }
    }
  }
  for (const writer of writers) writer.close();
}

/** Sum over coordinates that notices order: each counts with its number modulo a prime. */
function checksum(layout: Layout): string {
  const sums: string[] = [];
  const top = layout.cells.get('TOP');
  for (const [kind, blocks] of [
    ['polygon', top?.polygons],
    ['path', top?.paths],
  ] as const) {
    for (const [drawn, { xy }] of blocks ?? []) {
      let sum = 0;
      for (let n = 0; n < xy.length; n++) sum = (sum + xy[n] * (1 + (n % 8191))) % 2 ** 48;
      sums.push(`${kind} ${drawn} ${sum}`);
    }
  }
  return sums.sort().join('\n');
}

async function main(): Promise<void> {
  const [thousands = '1000', runs = '5'] = process.argv.slice(2);
  if (thousands === '--read') {
    const from = performance.now();
    await openLayout(runs);
    const ms = performance.now() - from;
    console.log(`${ms} ${Math.round(process.resourceUsage().maxRSS / 1024)}`);
    return;
  }
  const folder = mkdtempSync(join(tmpdir(), 'oasis-bench-'));
  try {
    const forms = ['bench.gds', 'bench.oas', 'packed.oas'].map((name) => join(folder, name));
    const [gds, oas, packed] = forms;
    generate(
      [gdsiiWriter(gds), oasisWriter(oas, false), oasisWriter(packed, true)],
      1000 * Number(thousands),
    );
    const sums: string[] = [];
    for (const form of forms) sums.push(checksum((await openLayout(form)).layout));
    const agrees = sums.every((sum) => sum === sums[0]);
    const self = fileURLToPath(import.meta.url);
    const reading = new Map<string, number[]>(forms.map((form) => [form, []]));
    const peaks = new Map<string, string>();
    const read = (form: string) => () => {
      const [ms, peak] = execFileSync(process.execPath, [self, '--read', form], { encoding: 'utf8' }).split(
        ' ',
      );
      reading.get(form)?.push(Number(ms));
      peaks.set(form, peak.trim());
    };
    const contenders: Record<string, () => void> = { gds: read(gds), oas: read(oas), packed: read(packed) };
    let hasPeer = true;
    try {
      execFileSync('GDSIIConvert', ['--help'], { stdio: 'ignore' });
    } catch (cause) {
      hasPeer = (cause as NodeJS.ErrnoException).code !== 'ENOENT';
    }
    if (hasPeer) {
      contenders.peer = () => {
        execFileSync('GDSIIConvert', [gds], { stdio: 'ignore', cwd: folder });
      };
    } else console.log('GDSIIConvert is not installed (Debian package gdsiiconvert): no peer in this run.');
    const times = await race(contenders, Number(runs));
    console.log(
      `${thousands} thousand shapes, seed ${SEED}; ${machine()}; checksums ${agrees ? 'agree' : 'DIFFER'}`,
    );
    console.log('| reader | file | whole process | reading alone, median | MB/s of the file | peak memory |');
    console.log('| --- | --- | --- | --- | --- | --- |');
    for (const [name, form, label] of [
      ['gds', gds, 'GDSII'],
      ['oas', oas, 'OASIS, plain'],
      ['packed', packed, 'OASIS, CBLOCKs'],
    ] as const) {
      const alone = (reading.get(form) ?? []).slice(1).sort((a, b) => a - b);
      const median = alone[alone.length >> 1];
      const bytes = statSync(form).size;
      console.log(
        `| ${label} | ${(bytes / 1e6).toFixed(1)} MB | ${spread(times[name])} | ${median.toFixed(0)} ms | ` +
          `${(bytes / 1e3 / median).toFixed(0)} | ${peaks.get(form)} MiB |`,
      );
    }
    if (hasPeer) {
      const bytes = statSync(gds).size;
      const { medianMs } = times.peer;
      console.log(
        `| GDSIIConvert, GDSII | ${(bytes / 1e6).toFixed(1)} MB | ${spread(times.peer)} | | ${(bytes / 1e3 / medianMs).toFixed(0)} | |`,
      );
    }
    if (!agrees) process.exitCode = 1;
  } finally {
    rmSync(folder, { recursive: true });
  }
}

await main();
