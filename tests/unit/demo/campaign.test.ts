import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { isUpToDate, type Staging, stageCampaign } from '../../../demo-volume/campaign-folder.ts';
import { writeCampaign } from '../../../demo-volume/campaign-run.ts';
import { demoPose } from '../../../demo-volume/generate.ts';
import { type ImageLayoutOptions, imageLayout } from '../../../demo-volume/image-layout.ts';
import { drawChip } from '../../../demo-volume/layout/chip.ts';
import { flatten } from '../../../demo-volume/layout/flatten.ts';
import { readStack } from '../../../demo-volume/process-stack.ts';

const PROCESS = new URL('../../../demo-volume/process.yaml', import.meta.url).pathname;
const stack = readStack(PROCESS);
const stamp = { version: 1, sources_sha256: 'test', seed: 7, options: '' };
let folder = '';

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tgl7-campaign-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A small field in the middle of the chip, at twice the voxel. */
async function tiny(out: string, watch: (path: string, staging: Staging) => void = () => {}): Promise<void> {
  const chip = drawChip(7);
  const pose = {
    ...demoPose(7, true),
    shape: [150, 120, 88] as const,
    voxelUm: [0.081, 0.081, 0.0784] as const,
  };
  const staging = stageCampaign(out);
  const watched: Staging = {
    ...staging,
    write: (path, content) => {
      watch(path, staging);
      staging.write(path, content);
    },
  };
  await writeCampaign(
    {
      ...{ stamp, chip: 'TGL-7', stack, flat: flatten(chip.library, chip.top, 'drawing'), pose },
      ...{ statedNm: 80, region: [0.5, 0.5, 33, 27], fill: true, faults: true, cnr: 4, circular: true },
    },
    watched,
  );
  staging.publish();
}

interface Truth {
  scan: { seen_from: string; order: string };
  voxel_to_die_um: number[][];
  layers: { nominal_bottom_um: number; nominal_top_um: number; bottom_um: number; top_um: number }[];
  faults: { kind: string; nets: string[] }[];
  fill: { size_um: number[]; pitch_um: number[]; count_on_die: number }[];
}

const truthOf = (out: string): Truth => JSON.parse(readFileSync(join(out, 'truth.json'), 'utf8'));

describe('a campaign', () => {
  it('has its truth on disk before any slice, and the same bytes for the same seed', async () => {
    const [a, b] = [join(folder, 'a'), join(folder, 'b')];
    let slicesAtTruth = -1;
    await tiny(a, (path, staging) => {
      const slices = join(staging.folder, 'slices/fine');
      if (path === 'truth.json') slicesAtTruth = existsSync(slices) ? readdirSync(slices).length : 0;
    });
    expect(slicesAtTruth).toBe(0);
    await tiny(b);
    const names = readdirSync(join(a, 'slices/fine'));
    expect(names).toHaveLength(88);
    expect(names[0]).toBe('fine_0001.tif');
    for (const path of ['truth.json', 'landmarks.csv', ...names.map((n) => `slices/fine/${n}`)])
      expect(readFileSync(join(a, path)).equals(readFileSync(join(b, path))), path).toBe(true);
  });

  it('states faults, fill and heights that hang together', () => {
    const truth = truthOf(join(folder, 'a'));
    expect(truth.faults.map((f) => f.kind)).toEqual(
      expect.arrayContaining(['missing-via', 'open', 'bridge', 'extra-shape', 'narrow']),
    );
    for (const fault of truth.faults) {
      if (fault.kind === 'bridge') expect(fault.nets).toHaveLength(2);
      if (fault.kind === 'extra-shape') expect(fault.nets).toEqual([]);
      if (fault.kind === 'open') expect(fault.nets).toHaveLength(1);
    }
    let below = 0;
    for (const layer of truth.layers) {
      expect(layer.bottom_um).toBeGreaterThanOrEqual(below - 1e-6);
      const nominal = layer.nominal_top_um - layer.nominal_bottom_um;
      expect(Math.abs((layer.top_um - layer.bottom_um) / nominal - 1)).toBeLessThanOrEqual(0.0801);
      below = layer.top_um;
    }
    for (const fill of truth.fill) expect(fill.pitch_um[0]!).toBeGreaterThan(fill.size_um[0]!);
    expect(truth.fill[1]!.count_on_die).toBeGreaterThan(20);
  });

  it('sets landmarks whose distance from the true map is a click', () => {
    const { voxel_to_die_um: m, layers } = truthOf(join(folder, 'a'));
    const lines = readFileSync(join(folder, 'a/landmarks.csv'), 'utf8').trim().split('\n');
    expect(lines[0]).toBe('i,j,k,x_um,y_um,z_um');
    expect(lines.length - 1).toBeGreaterThanOrEqual(10);
    const errors = lines.slice(1).map((line) => {
      const [i, j, k, ...die] = line.split(',').map(Number) as [
        number,
        number,
        number,
        number,
        number,
        number,
      ];
      return die.map((v, a) => (m[a]![0]! * i + m[a]![1]! * j + m[a]![2]! * k + m[a]![3]! - v) / 0.08);
    });
    const rms = Math.sqrt(errors.flat().reduce((s, e) => s + e * e, 0) / errors.flat().length);
    // Half a voxel and, in the plane, the shift of the layer.
    expect(rms).toBeGreaterThan(0.25);
    expect(rms).toBeLessThan(0.9);
    const heights = lines.slice(1).map((line) => Number(line.split(',')[5]));
    expect(Math.max(...heights) - Math.min(...heights)).toBeGreaterThan(
      (layers[10]!.top_um - layers[0]!.bottom_um) / 3,
    );
  });

  it('is zero outside a circular field and nowhere in it', () => {
    const bytes = readFileSync(join(folder, 'a/slices/fine/fine_0040.tif'));
    const pixels = new Uint16Array(bytes.buffer.slice(bytes.byteOffset + bytes.length - 150 * 120 * 2));
    expect([pixels[0], pixels[149], pixels[119 * 150]]).toEqual([0, 0, 0]);
    for (let i = 20; i < 130; i++) expect(pixels[60 * 150 + i]).toBeGreaterThan(0);
  });

  it('is left alone when it is up to date, and never put in the place of something else', () => {
    expect(isUpToDate(join(folder, 'a'), stamp)).toBe(true);
    expect(isUpToDate(join(folder, 'a'), { ...stamp, seed: 8 })).toBe(false);
    const foreign = mkdtempSync(join(folder, 'foreign-'));
    writeFileSync(join(foreign, 'thesis.txt'), 'irreplaceable');
    expect(() => stageCampaign(foreign)).toThrow(/without truth\.json/);
    expect(readFileSync(join(foreign, 'thesis.txt'), 'utf8')).toBe('irreplaceable');
  });
});

describe('imaging a real layout', () => {
  const DATA = new URL('../../../../shared/data/', import.meta.url);
  const FIXTURES = new URL('../../fixtures/process/', import.meta.url);
  const cases: [string, string, ImageLayoutOptions['windowUm']][] = [
    ['sg13g2_counter_board.gds', 'sg13g2.yaml', [46, 46, 55, 54]],
    ['gf180_w_io.gds', 'gf180mcu.yaml', [64, 122, 73, 130]],
  ];
  it.each(cases)('%s (skipped where the real layouts are not at hand)', async (name, process, windowUm) => {
    const layout = new URL(name, DATA).pathname;
    if (!existsSync(layout)) {
      console.log(`skipped: ${name} is not beside the repository`);
      return;
    }
    const out = join(folder, name);
    const report = await imageLayout({
      ...{ layout, process: new URL(process, FIXTURES).pathname, windowUm, out, voxelNm: 100, seed: 3 },
      ...{ rotationDeg: -4, tiltDeg: 0.5, tiltTowardsDeg: 200, scalePlane: 1.01, scaleDepth: 0.99, cnr: 4 },
      ...{
        order: 'bottom-first',
        mirrored: true,
        circular: false,
        fill: true,
        faults: true,
        placement: true,
      },
      depthUm: [-0.2, 3],
    });
    expect(report.landmarks).toBeGreaterThanOrEqual(6);
    expect(readdirSync(join(out, 'slices/fine'))).toHaveLength(report.voxels[2]);
    expect(truthOf(out).scan).toMatchObject({ seen_from: 'back', order: 'bottom-first' });
    expect(readFileSync(join(out, 'truth.json'), 'utf8')).not.toContain(layout);
    expect(readFileSync(join(out, 'layout', name)).equals(readFileSync(layout))).toBe(true);
  });

  it('says what is wrong with a window where nothing is drawn, and leaves nothing behind', async () => {
    const out = join(folder, 'nowhere');
    const layout = join(folder, 'a.gds');
    const { encodeGds } = await import('../../../demo-volume/gds/encoder.ts');
    writeFileSync(layout, encodeGds(drawChip(7).library));
    const options: ImageLayoutOptions = {
      ...{ layout, process: PROCESS, windowUm: [900, 900, 905, 905], out, voxelNm: 100, seed: 3, cnr: 4 },
      ...{ rotationDeg: 0, tiltDeg: 0, tiltTowardsDeg: 0, scalePlane: 1, scaleDepth: 1, order: 'top-first' },
      ...{ mirrored: false, circular: false, fill: true, faults: true, placement: true },
    };
    await expect(imageLayout(options)).rejects.toThrow(/window 900, 900, 905, 905: expected shapes/);
    expect(readdirSync(folder).filter((n) => n.includes('nowhere'))).toEqual([]);
  });
});
