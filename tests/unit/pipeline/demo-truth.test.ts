/**
 * The demo from generator to artefacts, against the truth that the generator wrote down before it drew a slice. The
 * generator shares no code with the pipeline but the units.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type Affine3, apply3 } from '../../../shared/affine.ts';

const ROOT = join(import.meta.dirname, '..', '..', '..');
let work: string;
const json = (...path: string[]) => JSON.parse(readFileSync(join(work, ...path), 'utf8'));

beforeAll(() => {
  work = mkdtempSync(join(tmpdir(), 'stratafolio-demo-'));
  const run = (...args: string[]) => {
    const { status, stderr } = spawnSync(process.execPath, args, { cwd: ROOT, encoding: 'utf8' });
    expect(stderr.includes('fault'), stderr).toBe(false);
    expect(status).toBe(0);
  };
  run('demo-volume/generate.ts', '--fast', '--out', join(work, 'campaign'));
  run('pipeline/cli.ts', 'build', join(work, 'campaign'), '--data-only', '--out', join(work, 'folio'));
}, 300_000);
afterAll(() => rmSync(work, { recursive: true, force: true }));

/** A pyramid's full resolution as grey numbers, NaN where it is transparent. */
async function pixels(stem: string, width: number, height: number): Promise<Float32Array> {
  const level = Math.ceil(Math.log2(Math.max(width, height)));
  const folder = join(work, 'folio', 'data', 'fine', `${stem}_files`, String(level));
  const out = new Float32Array(width * height);
  for (const name of readdirSync(folder)) {
    const [column, row] = name.split('.')[0]!.split('_').map(Number) as [number, number];
    const { data, info } = await sharp(join(folder, name))
      .ensureAlpha()
      .raw()
      .toBuffer({ resolveWithObject: true });
    for (let y = 0; y < info.height; y++)
      for (let x = 0; x < info.width; x++) {
        const at = (y * info.width + x) * info.channels;
        out[(row * 256 + y) * width + column * 256 + x] = data[at + info.channels - 1]
          ? data[at]!
          : Number.NaN;
      }
  }
  return out;
}

/** Pearson correlation over the pixels where both have data. */
function correlation(a: Float32Array, b: Float32Array): number {
  const both = [...a.keys()].filter((n) => !Number.isNaN(a[n]) && !Number.isNaN(b[n]));
  const mean = (v: Float32Array) => both.reduce((sum, n) => sum + v[n]!, 0) / both.length;
  const [ma, mb] = [mean(a), mean(b)];
  let [ab, aa, bb] = [0, 0, 0];
  for (const n of both) {
    ab += (a[n]! - ma) * (b[n]! - mb);
    aa += (a[n]! - ma) ** 2;
    bb += (b[n]! - mb) ** 2;
  }
  return ab / Math.sqrt(aa * bb);
}

describe('the demo against its truth', () => {
  it('is placed within its stated uncertainty, to a fraction of a voxel', () => {
    const truth = json('campaign', 'truth.json');
    const placement = json('folio', 'data', 'fine', 'placement.json');
    const [nx, ny, nz] = truth.scan.shape;
    expect(placement).toMatchObject({
      verdict: 'locked',
      order: truth.scan.order,
      seen_from: truth.scan.seen_from,
    });
    const centre = [(nx - 1) / 2, (ny - 1) / 2, (nz - 1) / 2] as const;
    const error = (p: readonly [number, number, number]) => {
      const found = apply3(placement.voxel_to_die_um as Affine3, p);
      return apply3(truth.voxel_to_die_um as Affine3, p).map((value, axis) => Math.abs(found[axis]! - value));
    };
    // Four standard uncertainties: one seed in fifteen thousand would fail by chance.
    const { x, y, z } = placement.uncertainty_um;
    [x, y, z].forEach((sigma, axis) => expect(error(centre)[axis]!).toBeLessThan(4 * sigma));
    for (const i of [0, nx - 1])
      for (const j of [0, ny - 1])
        for (const k of [0, nz - 1]) {
          const [dx, dy, dz] = error([i, j, k]) as [number, number, number];
          expect(Math.max(dx, dy)).toBeLessThan(0.06);
          // Films differ from the table one by one, and with them the scale of the depth: so it is stated.
          const halfUm = (nz / 2) * Math.abs(truth.voxel_to_die_um[2][2]);
          expect(dz).toBeLessThan(4 * Math.hypot(z, halfUm * placement.depth_scale_sd));
        }
  });

  it('measures thicknesses that hold within what is stated', () => {
    const truth = json('campaign', 'truth.json');
    const measured = json('folio', 'data', 'fine', 'measurements.json').layers.filter(
      (layer: { thickness: unknown }) => layer.thickness !== null,
    );
    expect(measured.length).toBeGreaterThan(8);
    for (const { name, thickness } of measured) {
      const made = truth.layers.find((layer: { name: string }) => layer.name === name);
      const off = thickness.value_um - (made.top_um - made.bottom_um);
      expect(Math.abs(off), name).toBeLessThan(4 * thickness.uncertainty_um);
    }
  });

  it('shows in every portrait the drawing of its own layer, and no mirrored one', async () => {
    const { grid } = json('folio', 'data', 'fine', 'plates.json');
    const { layers } = json('folio', 'data', 'fine', 'pictures.json');
    const { width_px: width, height_px: height } = grid;
    const seen: string[] = [];
    for (const layer of layers) {
      // Polysilicon in oxide is below the noise of the demo (0.04 against 0.45 electrons per cubic angstrom).
      if (!layer.portrait || !layer.render || layer.name === 'poly' || layer.render.coverage < 0.002)
        continue;
      const portrait = await pixels(layer.portrait.path.replace('.dzi', ''), width, height);
      const render = await pixels(layer.render.path.replace('.dzi', ''), width, height);
      const mirrored = render.map(
        (_, n) => render[Math.floor(n / width) * width + (width - 1 - (n % width))]!,
      );
      const own = correlation(portrait, render);
      expect(own, layer.name).toBeGreaterThan(0.25);
      // Wide straps look much the same from the back; their ends do not.
      expect(own, layer.name).toBeGreaterThan(correlation(portrait, mirrored) + 0.05);
      seen.push(layer.name);
    }
    expect(seen.length).toBeGreaterThanOrEqual(6);
  });
});
