/** One thread of the imaging. Jobs of a phase are taken from a shared counter, so both threads finish together. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parentPort, workerData } from 'node:worker_threads';
import { type BrokenKind, spoiltSlice } from './conditions.ts';
import { bentPlanes } from './distortion.ts';
import { driftPlanes, greySlice } from './grey.ts';
import { printLayer, sampleMask } from './layer-mask.ts';
import { addNoise, drawSlice, taper } from './object-slice.ts';
import { planeAtHeight } from './scan-frame.ts';
import { createWorkspace, filterRow, forwardSlice, inverseSlice, type Spectrum } from './spectrum.ts';
import type { PhaseDone, PhaseName, PhaseRequest, SharedVolume } from './thread-messages.ts';
import { encodeTiff } from './tiff-writer.ts';
import { transferTables } from './transfer.ts';
import { fineGridOf } from './volume-plan.ts';

const port = parentPort;
if (!port) throw new Error('this module runs as a worker thread');
const shared = workerData as SharedVolume;
const { plan } = shared;
const [nx, ny, nz] = plan.grid;

const counter = new Int32Array(shared.counter);
const spectrum: Spectrum = {
  size: plan.grid,
  re: new Float32Array(shared.re),
  im: new Float32Array(shared.im),
};
const planes = plan.layers.map((_, l) => ({
  bottom: new Float32Array(shared.planes, 8 * l * nx * ny, nx * ny),
  top: new Float32Array(shared.planes, 4 * (2 * l + 1) * nx * ny, nx * ny),
}));
const fine = fineGridOf(plan);
const tables = transferTables(plan.grid, plan.voxelUm, plan.instrument);
const work = createWorkspace(plan.grid);
const drift = driftPlanes(plan);
const { bend, broken, outside } = plan.conditions;
const bent = bentPlanes(plan.map, bend, plan.shape, plan.grid, plan.origin);
const spoilt = new Map(broken.map((b) => [b.slice, b.kind]));
const strongest = Math.max(...plan.layers.map((l) => Math.abs(l.contrast)));
const image = new Float64Array(nx * ny);
const edge = plan.grid.map((n, axis) => taper(n, plan.origin[axis] as number, plan.shape[axis] as number));
const [edgeX, edgeY, edgeZ] = edge as [Float64Array, Float64Array, Float64Array];

function mask(l: number): void {
  const layer = plan.layers[l];
  const plane = planes[l];
  if (!layer || !plane) return;
  const printed = printLayer(layer.shapes, fine);
  for (const [z, out] of [
    [layer.bottomUm, plane.bottom],
    [layer.topUm, plane.top],
  ] as const) {
    const origin = [-plan.origin[0], -plan.origin[1]] as const;
    sampleMask(printed, planeAtHeight(plan.map, z), layer.shapes.offsetUm, origin, [nx, ny], out, bent);
    for (let y = 0; y < ny; y++)
      for (let x = 0; x < nx; x++)
        out[y * nx + x] = (out[y * nx + x] as number) * (edgeX[x] as number) * (edgeY[y] as number);
  }
}

function forward(slice: number): void {
  drawSlice(plan, planes, slice, image, bent);
  const weight = edgeZ[slice] as number;
  if (weight !== 1) for (let i = 0; i < image.length; i++) image[i] = (image[i] as number) * weight;
  addNoise(plan.seed, slice, shared.whiteSd, image);
  forwardSlice(work, spectrum, slice, image);
}

/** Puts what a spoilt slice holds in the place of the image. */
function spoil(kind: BrokenKind, slice: number): void {
  const [width, height] = plan.shape;
  const content = spoiltSlice(kind, [width, height], plan.noiseSd, strongest, plan.seed, slice);
  for (let j = 0; j < height; j++)
    image.set(content.subarray(j * width, (j + 1) * width), (j + plan.origin[1]) * nx + plan.origin[0]);
}

function inverse(gridSlice: number): void {
  const slice = gridSlice - plan.origin[2];
  const seen = slice >= 0 && slice < plan.shape[2];
  if (!seen && !shared.image) return;
  inverseSlice(work, spectrum, gridSlice, image, bend?.shifts[slice] ?? null);
  if (shared.image) new Float32Array(shared.image, 4 * gridSlice * nx * ny, nx * ny).set(image);
  if (plan.folder === null || !seen) return;
  const kind = spoilt.get(slice);
  if (kind) spoil(kind, slice);
  const [width, height] = plan.shape;
  // Only numbers with a point can say "no number".
  const pixels = outside === 'nan' ? new Float32Array(width * height) : new Uint16Array(width * height);
  const bytes = encodeTiff(greySlice(plan, drift, image, slice, pixels), width, height, plan.statedNm);
  writeFileSync(join(plan.folder, `fine_${String(slice + 1).padStart(4, '0')}.tif`), bytes);
}

const JOBS: Readonly<Record<PhaseName, (index: number) => void>> = {
  mask,
  forward,
  filter: (row) => filterRow(work, spectrum, tables, row),
  inverse,
};

port.on('message', ({ phase, count }: PhaseRequest) => {
  for (let i = Atomics.add(counter, 0, 1); i < count; i = Atomics.add(counter, 0, 1)) JOBS[phase](i);
  port.postMessage({ phase } satisfies PhaseDone);
});
// The grid's depth is fixed by the plan; a worker that disagrees would write into another's memory.
if (spectrum.re.length !== (nx / 2 + 1) * ny * nz) throw new Error('shared spectrum has the wrong size');
