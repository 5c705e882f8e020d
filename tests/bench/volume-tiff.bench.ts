/**
 * Reading of TIFF stacks, whole slices one after the other, beside the geotiff library and, for plain data, beside a bare
 * read of the file into memory that is used again. The sums of both readers are compared: speed that changes values is none.
 * The files lie in the system's cache, so that decoding and copying is measured and not a disk.
 *
 * Needs tifffile (Debian: python3-tifffile) and tiffcp (libtiff-tools). Run by hand: node tests/bench/volume-tiff.bench.ts
 */
import { spawnSync } from 'node:child_process';
import { open } from 'node:fs/promises';
import { cpus } from 'node:os';
import { join } from 'node:path';
import { fromFile } from 'geotiff';
import { orderSeries } from '../../pipeline/formats/volume/series.ts';
import { openTiffStack } from '../../pipeline/formats/volume/tiff.ts';
import { run, tiffcp, tifffile } from '../fixtures/volume/outside-programs.ts';
import { scratchFolder } from '../fixtures/volume/stacks.ts';

const RUNS = 7;
const WARM_UP = 2;
const SLICES = 8;
const SERIES = 500;

const { folder, remove } = scratchFolder();
const at = (name: string): string => join(folder, `${name}.tif`);

// A slope, steps and 4 bits of noise: what a reconstruction of wires looks like to a coder.
const SCRIPT = `
import numpy, tifffile
random = numpy.random.default_rng(7)
j, i = numpy.indices((2048, 2048))
stack = [((j + i) // 7 + ((i // 40) % 3) * 9000 + random.integers(0, 16, j.shape)).astype("uint16") for _ in range(${SLICES})]
stack = numpy.stack(stack)
write = lambda name, values, **how: tifffile.imwrite(f"${folder}/{name}.tif", values, photometric="minisblack", metadata=None, **how)
write("uint16", stack)
write("uint16-big-endian", stack, byteorder=">")
write("float32", stack.astype("float32"))
for k in range(${SERIES}):
    write(f"series-{k:04d}", stack[k % ${SLICES}, :512, :512])
`;

interface Case {
  readonly name: string;
  readonly files: readonly string[];
  readonly plain: boolean;
}

function makeFiles(): Case[] {
  const made = spawnSync(tifffile.path ?? '', ['-c', SCRIPT], { encoding: 'utf8' });
  if (made.status !== 0) throw new Error(`${made.stderr}${tifffile.note}`);
  const copies: Readonly<Record<string, readonly string[]>> = {
    'LZW 2, strips of 8': ['-c', 'lzw:2', '-r', '8'],
    'LZW 2, big-endian': ['-B', '-c', 'lzw:2', '-r', '8'],
    'deflate 2, strips of 8': ['-c', 'zip:2', '-r', '8'],
    'deflate 2, tiles of 256': ['-c', 'zip:2', '-t', '-w', '256', '-l', '256'],
    'PackBits, strips of 8': ['-c', 'packbits', '-r', '8'],
    'none, tiles of 256': ['-c', 'none', '-t', '-w', '256', '-l', '256'],
  };
  const coded = Object.entries(copies).map(([name, options]): Case => {
    run(tiffcp, [...options, at('uint16'), at(name)]);
    return { name: `uint16, ${name}`, files: [at(name)], plain: false };
  });
  const series = Array.from({ length: SERIES }, (_, k) => at(`series-${String(k).padStart(4, '0')}`));
  return [
    { name: 'uint16, plain', files: [at('uint16')], plain: true },
    { name: 'uint16, plain, big-endian', files: [at('uint16-big-endian')], plain: true },
    { name: 'float32, plain', files: [at('float32')], plain: true },
    {
      name: `uint16, ${SERIES} files of 512 x 512`,
      files: orderSeries(series, { pattern: '', file: '' }),
      plain: true,
    },
    ...coded,
  ];
}

interface Pass {
  readonly bytes: number;
  /** A few voxels of every slice: enough to tell two readers apart, too few to be timed. */
  readonly sum: number;
}

const STRIDE = 4099;

/** geotiff takes the strip offsets of this one in the wrong byte order, throws, and goes on decoding for ever. */
const TOO_MUCH = 'uint16, LZW 2, big-endian';

function sampled(values: ArrayLike<number>): number {
  let sum = 0;
  for (let n = 0; n < values.length; n += STRIDE) sum += values[n];
  return sum;
}

async function ours(files: readonly string[]): Promise<Pass> {
  const source = await openTiffStack(files);
  let bytes = 0;
  let sum = 0;
  for (let k = 0; k < source.shape.nz; k++) {
    const voxels = await source.read({ k: [k, k + 1] });
    bytes += voxels.byteLength;
    sum += sampled(voxels);
  }
  await source.close();
  return { bytes, sum };
}

async function peer(files: readonly string[]): Promise<Pass> {
  let bytes = 0;
  let sum = 0;
  for (const file of files) {
    const tiff = await fromFile(file);
    const count = await tiff.getImageCount();
    for (let k = 0; k < count; k++) {
      const voxels = await (await tiff.getImage(k)).readRasters({ interleave: true });
      bytes += voxels.byteLength;
      sum += sampled(voxels as ArrayLike<number>);
    }
    await tiff.close();
  }
  return { bytes, sum };
}

const memory = new Uint8Array(8 * 2 ** 20);

async function bare(files: readonly string[]): Promise<Pass> {
  let bytes = 0;
  for (const file of files) {
    const handle = await open(file);
    for (;;) {
      const { bytesRead } = await handle.read(memory, 0, memory.length);
      if (bytesRead === 0) break;
      bytes += bytesRead;
    }
    await handle.close();
  }
  return { bytes, sum: 0 };
}

async function measure(pass: (files: readonly string[]) => Promise<Pass>, files: readonly string[]) {
  const rates: number[] = [];
  let sum = 0;
  for (let n = 0; n < WARM_UP + RUNS; n++) {
    const start = performance.now();
    const result = await pass(files);
    const seconds = (performance.now() - start) / 1000;
    if (n >= WARM_UP) rates.push(result.bytes / 1e6 / seconds);
    sum = result.sum;
  }
  rates.sort((a, b) => a - b);
  const [low, median, high] = [rates[0], rates[RUNS >> 1], rates[RUNS - 1]].map(Math.round);
  return { text: `${median} (${low}-${high})`, sum };
}

try {
  const cases = makeFiles();
  console.log(
    `${cpus()[0]?.model}, ${cpus().length} threads, Node ${process.version}; median MB/s (least-most)`,
  );
  console.log('| case | ours | geotiff 3.0.5 | bare read | same values |\n| --- | --- | --- | --- | --- |');
  for (const { name, files, plain } of cases) {
    const a = await measure(ours, files);
    const b = name === TOO_MUCH ? null : await measure(peer, files);
    const c = plain ? (await measure(bare, files)).text : '';
    console.log(
      `| ${name} | ${a.text} | ${b?.text ?? 'does not end'} | ${c} | ${b ? (a.sum === b.sum ? 'yes' : 'no') : ''} |`,
    );
  }
  const series = cases[3].files;
  const start = performance.now();
  await (await openTiffStack(series)).close();
  console.log(
    `opening ${series.length} files: ${((performance.now() - start) / series.length).toFixed(2)} ms per file`,
  );
} finally {
  remove();
}
