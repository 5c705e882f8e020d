import { describe, expect, it } from 'vitest';
import type { DrawnLayer } from '../../../pipeline/formats/layout.ts';
import type { VolumeSource, VoxelBox } from '../../../pipeline/formats/volume.ts';
import {
  acquisitionChecks,
  farFieldPixelNm,
  missingConeShare,
  projectionsForResolution,
} from '../../../pipeline/stages/survey/acquisition-checks.ts';
import { findFieldOfView } from '../../../pipeline/stages/survey/field-of-view.ts';
import { fitLayout } from '../../../pipeline/stages/survey/layout-checks.ts';
import { sampleGreys } from '../../../pipeline/stages/survey/sample-greys.ts';
import { isFault } from '../../../shared/errors.ts';

describe('acquisition numbers', () => {
  // Worked examples of the far-field relation dx = lambda z / (N p): 6.2 keV, 5 m, 1024 px of 75 um -> 13.019 nm;
  // 6.2 keV, 5 m, 500 px -> 26.663 nm; 9.1 keV, 4.16 m, 512 px -> 14.760 nm.
  it.each([
    [6.2, 5, 1024, 75, 13.019],
    [6.2, 5, 500, 75, 26.663],
    [9.1, 4.16, 512, 75, 14.76],
  ])('%f keV, %f m, %i pixels of %f um give %f nm', (energy, distance, pixels, pitch, expected) => {
    expect(farFieldPixelNm(energy, distance, pixels, pitch)).toBeCloseTo(expected, 3);
  });

  // Holler et al., Nat. Electron. 2, 464 (2019), as restated: slab 5 um at 61 degrees, 20 nm -> 1417; 10 um -> 2834.
  it('ask for the published number of projections', () => {
    expect(Math.round(projectionsForResolution(5, 61, 20))).toBe(1417);
    expect(Math.round(projectionsForResolution(10, 61, 20))).toBe(2834);
  });

  // Fourier slice theorem: share lost 1 - cos(90 deg - theta): 45 -> 29.3 %, 60 -> 13.4 %, 61 -> 12.5 %, 75 -> 3.41 %.
  it.each([
    [45, 0.293],
    [60, 0.134],
    [61, 0.125],
    [75, 0.0341],
  ])('at %f degrees the missing cone takes %f', (theta, share) => {
    expect(missingConeShare(theta)).toBeCloseTo(share, 3);
  });

  it('are told apart where they disagree', () => {
    const geometry = {
      energy_keV: 6.2,
      detector_distance_m: 5,
      detector_pixels: 1024,
      detector_pixel_um: 75,
      laminography_deg: 61,
      projections: 500,
    };
    const verdicts = (voxel: number) =>
      Object.fromEntries(
        acquisitionChecks(geometry, { x: voxel, y: voxel, z: voxel }, 5).map((c) => [c.name, c.verdict]),
      );
    expect(verdicts(13)).toEqual({ 'voxel size': 'agrees', projections: 'odd', 'missing cone': 'note' });
    expect(verdicts(26)['voxel size']).toBe('odd');
    expect(acquisitionChecks(undefined, { x: 1, y: 1, z: 1 }, 5)).toEqual([]);
  });
});

/** A volume in memory, by a function of the index. */
function volumeOf(
  nz: number,
  ny: number,
  nx: number,
  value: (i: number, j: number, k: number) => number,
): VolumeSource {
  const read = async ({ k, j = [0, ny], i = [0, nx] }: VoxelBox) => {
    const out = new Float32Array((k[1] - k[0]) * (j[1] - j[0]) * (i[1] - i[0]));
    let at = 0;
    for (let c = k[0]; c < k[1]; c++)
      for (let b = j[0]; b < j[1]; b++) for (let a = i[0]; a < i[1]; a++) out[at++] = value(a, b, c);
    return out;
  };
  return {
    format: 'test',
    shape: { nz, ny, nx },
    type: 'float32',
    bytes: 0,
    files: ['memory'],
    metadata: { voxelNm: { x: null, y: null, z: null }, voxelSource: null, greyUnit: null, notes: [] },
    read,
    close: async () => {},
  };
}

const wave = (i: number, j: number, k: number) => Math.sin(i * 12.9898 + j * 78.233 + k * 37.719) * 3 + 10;

describe('the field of view', () => {
  const round = (padding: number) => (i: number, j: number, k: number) =>
    Math.hypot(i - 24.5, j - 19.5) < 15 ? wave(i, j, k) : padding;

  it.each([
    ['zeros', 0, 'constant'],
    ['another constant', -7.5, 'constant'],
    ['NaN', Number.NaN, 'nan'],
  ])('is found inside %s', async (_, padding, kind) => {
    const field = await findFieldOfView(volumeOf(12, 40, 50, round(padding)));
    expect(field.kind).toBe(kind);
    expect(field.box).toEqual([10, 5, 40, 35]);
    let inside = 0;
    for (let j = 0; j < 40; j++)
      for (let i = 0; i < 50; i++) if (Math.hypot(i - 24.5, j - 19.5) < 15) inside++;
    expect(field.mask!.reduce((a, b) => a + b, 0)).toBe(inside);
    expect(field.outside).toBeCloseTo(1 - inside / 2000, 12);
  });

  it('is the whole slice where nothing is padded, even with some zeros inside', async () => {
    const field = await findFieldOfView(volumeOf(12, 40, 50, (i, j, k) => (i === 20 ? 0 : wave(i, j, k))));
    expect(field).toMatchObject({ kind: 'none', mask: null, box: [0, 0, 50, 40], outside: 0 });
  });

  it('is the whole slice where an even background looks like padding', async () => {
    const bars = volumeOf(30, 40, 50, (i, _, k) => (k % 10 < 3 && i > 10 && i < 20 + k ? 9 : 1));
    expect(await findFieldOfView(bars)).toMatchObject({ kind: 'none', mask: null });
  });

  it('is not misled by a broken slice', async () => {
    const field = await findFieldOfView(volumeOf(12, 40, 50, (i, j, k) => (k === 6 ? 0 : round(0)(i, j, k))));
    expect(field.box).toEqual([10, 5, 40, 35]);
  });
});

describe('the sample of greys', () => {
  it('keeps out the padding, and finds slices without structure', async () => {
    const source = volumeOf(20, 40, 50, (i, j, k) =>
      k === 7 || k === 13 ? 10 : Math.hypot(i - 24.5, j - 19.5) < 15 ? wave(i, j, k) : 0,
    );
    const field = await findFieldOfView(source);
    let slices = 0;
    const sample = await sampleGreys(source, field, () => slices++);
    expect(slices).toBe(20);
    expect(sample.brokenSlices).toEqual([7, 13]);
    expect(sample.sorted[0]).toBeGreaterThanOrEqual(7);
    expect(sample.sorted.at(-1)).toBeLessThanOrEqual(13);
  });
});

describe('process table against layout', () => {
  const layer = (name: string, drawn: string[]) => ({
    name,
    role: 'conductor' as const,
    bottom_um: 0,
    thickness_um: 1,
    drawn,
  });
  const process = {
    name: 'p',
    layers: [layer('poly', ['11/0']), layer('metal1', ['21/0']), layer('metal2', ['22/0'])],
  };
  const counts = (...drawn: string[]) => new Map(drawn.map((d, n) => [d as DrawnLayer, 10 * (n + 1)]));

  it('fits, and lists what no layer uses, most shapes first', () => {
    const fit = fitLayout(
      process,
      'process.yaml',
      'chip.gds',
      counts('11/0', '21/0', '22/0', '90/0', '91/0'),
    );
    expect(fit.unused).toEqual([
      { drawn: '91/0', shapes: 50 },
      { drawn: '90/0', shapes: 40 },
    ]);
    expect(fit.notDrawn).toEqual([]);
  });

  it('lets the top of the stack be absent', () => {
    expect(fitLayout(process, 'process.yaml', 'chip.gds', counts('11/0', '21/0')).notDrawn).toEqual([
      'metal2',
    ]);
  });

  it('names a drawn layer that is lacking below one that is there, with the nearest free number', () => {
    try {
      fitLayout(process, 'process.yaml', 'chip.gds', counts('11/0', '21/1', '22/0'));
      expect.unreachable();
    } catch (error) {
      expect(isFault(error, 'inconsistent')).toBe(true);
      expect((error as Error).message).toContain(
        'process.yaml, layer "metal1", drawn: expected a drawn layer that chip.gds has, such as "21/1", found "21/0"',
      );
    }
  });
});
