/**
 * Slabs and slices out of HDF5 files and Zarr folders, beside the libraries that are used for them: h5wasm read through
 * its own file system and classes, zarrita with its own codecs and its own store for files. The sums of both are
 * compared: speed that changes values is none. The files lie in the system's cache.
 *
 * Needs h5py and zarr (Debian: python3-h5py, python3-zarr). Run by hand: node tests/bench/volume-slabs.bench.ts [part of a name]
 */
import { join } from 'node:path';
import FileSystemStore from '@zarrita/storage/fs';
import * as h5wasm from 'h5wasm/node';
import * as zarr from 'zarrita';
import { openHdf5Volume } from '../../pipeline/formats/volume/hdf5.ts';
import { openZarrVolume } from '../../pipeline/formats/volume/zarr.ts';
import type { VolumeSource, VoxelArray } from '../../pipeline/formats/volume.ts';
import { h5py, run, zarrPython } from '../fixtures/volume/outside-programs.ts';
import { scratchFolder } from '../fixtures/volume/stacks.ts';
import { machine, race, spread } from './harness.ts';

const SIDE = 1024;
const SLICES = 64;
const ROUNDS = 7;

const { folder, remove } = scratchFolder();

// A slope, steps and 4 bits of noise: what a reconstruction of wires looks like to a coder.
const VOLUME = `
import sys, numpy
random = numpy.random.default_rng(7)
k, j, i = numpy.indices((${SLICES}, ${SIDE}, ${SIDE}), dtype="u2")
volume = ((j + i + k) // 7 + ((i // 40) % 3) * 9000 + random.integers(0, 16, k.shape, dtype="u2")).astype("u2")
`;

const HDF5 = `${VOLUME}
import h5py
for name, how in {
    "contiguous": {},
    "chunks": {"chunks": (16, 128, 128)},
    "gzip": {"chunks": (16, 128, 128), "compression": "gzip", "compression_opts": 4},
    "gzip-shuffle": {"chunks": (16, 128, 128), "compression": "gzip", "compression_opts": 4, "shuffle": True},
    "slices-gzip": {"chunks": (1, ${SIDE}, ${SIDE}), "compression": "gzip", "compression_opts": 4},
}.items():
    if sys.argv[2] not in "HDF5 " + name: continue
    with h5py.File(f"{sys.argv[1]}/{name}.h5", "w") as file:
        file.create_dataset("volume", data=volume, **how)
`;

const ZARR = `${VOLUME}
import numcodecs, zarr
for name, compressor in {
    "none": None,
    "gzip": numcodecs.GZip(4),
    "zstd": numcodecs.Zstd(3),
    "blosc-lz4": numcodecs.Blosc("lz4", 5, 1),
    "blosc-zstd": numcodecs.Blosc("zstd", 3, 1),
    "blosc-zstd-bits": numcodecs.Blosc("zstd", 3, 2),
}.items():
    if sys.argv[2] not in "Zarr " + name: continue
    array = zarr.open(f"{sys.argv[1]}/{name}.zarr", mode="w", shape=volume.shape, dtype="u2", chunks=(16, 128, 128), compressor=compressor)
    array[:] = volume
`;

/** Only files whose name holds this word, such as "gzip"; all without it. */
const isWanted = (name: string): boolean => name.includes(process.argv[2] ?? '');

type Box = readonly [from: number, to: number];

interface Shape {
  readonly name: string;
  readonly boxes: readonly { readonly k: Box; readonly j: Box; readonly i: Box }[];
}

const WHOLE: Box = [0, SIDE];
const SHAPES: readonly Shape[] = [
  { name: 'slabs of 16 slices', boxes: [0, 16, 32, 48].map((k) => ({ k: [k, k + 16], j: WHOLE, i: WHOLE })) },
  {
    name: '16 boxes of 32 x 300 x 300',
    boxes: Array.from({ length: 16 }, (_, n) => {
      const j = 20 + 220 * (n >> 2);
      const i = 33 + 210 * (n & 3);
      return { k: [9, 41], j: [j, j + 300], i: [i, i + 300] };
    }),
  },
  {
    name: 'slice by slice',
    boxes: Array.from({ length: SLICES }, (_, k) => ({ k: [k, k + 1], j: WHOLE, i: WHOLE })),
  },
];

function sampled(values: ArrayLike<number>): number {
  let sum = 0;
  for (let n = 0; n < values.length; n += 4099) sum += values[n];
  return sum;
}

type Read = (box: Shape['boxes'][number]) => Promise<VoxelArray>;

async function compare(name: string, open: () => Promise<VolumeSource>, raw: Read): Promise<void> {
  for (const shape of SHAPES) {
    let ours = 0;
    let theirs = 0;
    const times = await race(
      {
        ours: async () => {
          // Opened anew: nothing kept from an earlier round may help. The opening itself is not timed for either.
          const source = await open();
          ours = await timed(shape, (box) => source.read(box));
          await source.close();
        },
        raw: async () => {
          theirs = await timed(shape, raw);
        },
      },
      ROUNDS,
      2,
    );
    const [a, b] = [reads.get('ours') ?? [], reads.get('raw') ?? []];
    reads.clear();
    const [elapsed, processor] = (['elapsed', 'processor'] as const).map(
      (of) => median(a.map((t) => t[of])) / median(b.map((t) => t[of])),
    ) as [number, number];
    console.log(
      `| ${name} | ${shape.name} | ${range(a)} | ${range(b)} | ${processor.toFixed(2)} | ${elapsed.toFixed(2)} | ${ours === theirs ? 'yes' : 'NO'} | ${spread(times.ours)} |`,
    );
  }
}

/** Milliseconds of reading alone: by the clock, and of processors, which other work on the machine lengthens less. */
interface Taken {
  readonly elapsed: number;
  readonly processor: number;
}

const reads = new Map<string, Taken[]>();

async function timed(shape: Shape, read: Read): Promise<number> {
  let sum = 0;
  const begun = performance.now();
  const before = process.cpuUsage();
  for (const box of shape.boxes) sum += sampled(await read(box));
  const { user, system } = process.cpuUsage(before);
  const taken = { elapsed: performance.now() - begun, processor: (user + system) / 1000 };
  const who = current;
  reads.set(who, [...(reads.get(who) ?? []), taken]);
  current = who === 'ours' ? 'raw' : 'ours';
  return sum;
}

/** The two take turns. */
let current = 'ours';

/** The first two rounds warm up. */
const measured = (times: readonly number[]): number[] => times.slice(2).sort((a, b) => a - b);
const median = (times: readonly number[]): number => measured(times)[(times.length - 2) >> 1];
function range(taken: readonly Taken[]): string {
  const times = taken.map((t) => t.processor);
  const sorted = measured(times);
  return `${median(times).toFixed(0)} ms (${sorted[0].toFixed(0)}-${sorted.at(-1)?.toFixed(0)})`;
}

try {
  run(h5py, ['-c', HDF5, folder, process.argv[2] ?? '']);
  run(zarrPython, ['-c', ZARR, folder, process.argv[2] ?? '']);
  console.log(machine());
  console.log(
    `uint16, ${SLICES} slices of ${SIDE} x ${SIDE}; median of ${ROUNDS} (least-most) of the processor's time`,
  );
  console.log(
    '| file | read | ours | the library itself | ratio | by the clock | same values | ours with opening |',
  );
  console.log('| --- | --- | --- | --- | --- | --- | --- | --- |');
  await h5wasm.ready;
  for (const name of ['contiguous', 'chunks', 'gzip', 'gzip-shuffle', 'slices-gzip']) {
    if (!isWanted(`HDF5 ${name}`)) continue;
    const path = join(folder, `${name}.h5`);
    const dataset = new h5wasm.File(path, 'r').get('volume') as h5wasm.Dataset;
    await compare(
      `HDF5 ${name}`,
      () => openHdf5Volume(path),
      async ({ k, j, i }) => dataset.slice([[...k], [...j], [...i]]) as VoxelArray,
    );
  }
  const codecs = new Map(zarr.registry);
  for (const name of ['none', 'gzip', 'zstd', 'blosc-lz4', 'blosc-zstd', 'blosc-zstd-bits']) {
    if (!isWanted(`Zarr ${name}`)) continue;
    const path = join(folder, `${name}.zarr`);
    // The library's array loads its codecs when it is first read, and is to have its own.
    const own = new Map(zarr.registry);
    for (const [key, entry] of codecs) zarr.registry.set(key, entry);
    const array = await zarr.open.v2(new FileSystemStore(path), { kind: 'array' });
    await zarr.get(array, [0, 0, 0]);
    for (const [key, entry] of own) zarr.registry.set(key, entry);
    await compare(
      `Zarr ${name}`,
      () => openZarrVolume(path),
      async ({ k, j, i }) => {
        const { data } = await zarr.get(array, [zarr.slice(...k), zarr.slice(...j), zarr.slice(...i)]);
        return data as VoxelArray;
      },
    );
  }
} finally {
  remove();
}
