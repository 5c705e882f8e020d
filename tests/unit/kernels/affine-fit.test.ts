import { describe, expect, test } from 'vitest';
import { type ControlPoint, fitLandmarks } from '../../../pipeline/kernels/affine-fit.ts';
import { type Affine3, apply3, determinant3, type Vector3 } from '../../../shared/affine.ts';
import { anyRotation, landmarksOf, mapOf, mounted, seeded, VIEWS } from './landmark-scenes.ts';

const VOXEL_UM: Vector3 = [0.04, 0.04, 0.04];
const SHIFT: Vector3 = [120, 80, 5];

/** Farthest the two maps put a corner of the field apart. */
function apartUm(a: Affine3, b: Affine3, size: Vector3 = [1000, 1000, 150]): number {
  const corners = [0, 1, 2, 3, 4, 5, 6, 7].map(
    (n): Vector3 => [n & 1 ? size[0] : 0, n & 2 ? size[1] : 0, n & 4 ? size[2] : 0],
  );
  return Math.max(
    ...corners.map((corner) => {
      const [p, q] = [apply3(a, corner), apply3(b, corner)];
      return Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
    }),
  );
}

/** Corners of a cube of 20 voxels of 1 um, die x = i, y = 100 - j, z = 50 - k, each coordinate off by +-d. */
function cube(d: number): ControlPoint[] {
  return [0, 1, 2, 3, 4, 5, 6, 7].map((n) => {
    const [i, j, k] = [n & 1 ? 20 : 0, n & 2 ? 20 : 0, n & 4 ? 20 : 0];
    // The sign is the product of three: it sums to zero over every edge direction, so no map can follow it.
    const off = (n & 1 ? d : -d) * (n & 2 ? 1 : -1) * (n & 4 ? 1 : -1);
    return { voxel: [i, j, k], dieUm: [i + off, 100 - j + off, 50 - k + off] };
  });
}

describe('a cube worked by hand', () => {
  const d = 0.3;
  const fit = fitLandmarks(cube(d), { voxelUm: [1, 1, 1] });

  test('the pattern cannot be followed: the map is the plain one, every residual is d times root 3', () => {
    expect(fit.model).toBe('rigid');
    const plain: Affine3 = [
      [1, 0, 0, 0],
      [0, -1, 0, 100],
      [0, 0, -1, 50],
    ];
    expect(apartUm(fit.voxelToDieUm, plain, [20, 20, 20])).toBeLessThan(1e-9);
    for (const residual of fit.residualsUm) expect(residual).toBeCloseTo(d * Math.sqrt(3), 9);
    expect(fit.residual.median).toBeCloseTo(d * Math.sqrt(3), 9);
    expect(fit.residual.count).toBe(8);
    expect(fit).toMatchObject({
      seenFrom: 'front',
      order: 'top-first',
      handednessFrom: 'landmarks',
      parameters: 6,
    });
  });

  test('freedom: of 6 parameters the plane takes 2 shifts, a turn and half of both tilts', () => {
    expect(fit.degreesOfFreedom.lateral).toBeCloseTo(16 - 4, 9);
    expect(fit.degreesOfFreedom.depth).toBeCloseTo(8 - 2, 9);
  });

  test('uncertainty at the centre: variance 24 d^2 / 18, of the mean of 8: d / root 6', () => {
    for (const axis of ['x', 'y', 'z'] as const)
      expect(fit.uncertaintyUm[axis]).toBeCloseTo(d / Math.sqrt(6), 9);
  });

  test('uncertainty at a corner: the rotations add as much again: d / root 3', () => {
    // Half side a: each angle has the variance s^2 / (16 a^2); two of them move x, by a each: s^2 / 8.
    const corner = fitLandmarks(cube(d), { voxelUm: [1, 1, 1], centre: [20, 0, 20] });
    for (const axis of ['x', 'y', 'z'] as const)
      expect(corner.uncertaintyUm[axis]).toBeCloseTo(d / Math.sqrt(3), 9);
  });

  test('stretched along one axis: triaxial, with the stretch', () => {
    const stretched = cube(0.001).map(({ voxel, dieUm }) => ({
      voxel,
      dieUm: [2 * dieUm[0], dieUm[1], dieUm[2]] as const,
    }));
    const three = fitLandmarks(stretched, { voxelUm: [1, 1, 1] });
    expect(three).toMatchObject({ model: 'triaxial', parameters: 9 });
    expect(three.voxelToDieUm[0][0]).toBeCloseTo(2, 6);
    expect(three.why).toMatch(/three scales \(9 parameters\): smaller maps describe the landmarks worse/);
    expect(three.doubts.join()).toMatch(/a voxel measures 2000 x 1000 x 1000 nm, up to 100 % off the stated/);
  });
});

describe('maps without noise come back, with the model they were made by', () => {
  const shear = [
    [1, 0.02, 0.01],
    [0, 1, -0.015],
    [0, 0, 1],
  ];
  test.each([
    ['rigid', [1, 1, 1], false],
    ['similarity', [1.03, 1.03, 1.03], false],
    ['uniaxial', [0.98, 0.98, 1.2], false],
    ['triaxial', [1.04, 0.97, 1.1], false],
    ['affine', [1.04, 0.97, 1.1], true],
  ] as const)('%s: any rotation, either hand, 6 to 30 landmarks', (model, factors, sheared) => {
    for (let seed = 1; seed <= 40; seed++) {
      const random = seeded(seed);
      const rotation = sheared ? shear.map((row) => [...row]) : anyRotation(random);
      const signs = [1, random.uniform() < 0.5 ? -1 : 1, random.uniform() < 0.5 ? -1 : 1];
      const map = mapOf(
        rotation,
        factors.map((factor) => 0.04 * factor),
        signs,
        SHIFT,
      );
      const count = 6 + Math.floor(25 * random.uniform());
      const fit = fitLandmarks(landmarksOf(map, random, { count }), { voxelUm: VOXEL_UM });
      expect(fit.model).toBe(model);
      expect(apartUm(fit.voxelToDieUm, map)).toBeLessThan(1e-6);
      expect(Math.sign(determinant3(fit.voxelToDieUm))).toBe(Math.sign(determinant3(map)));
      expect(fit.handednessFrom).toBe('landmarks');
      expect(fit.mirrorImage).toBeNull();
      expect(fit.residual.p95).toBeLessThan(1e-6);
    }
  });

  test('voxels that are not cubes: the stated ratio is kept, only what differs from it costs parameters', () => {
    const voxelUm: Vector3 = [0.04, 0.05, 0.2];
    for (let seed = 1; seed <= 20; seed++) {
      const random = seeded(seed);
      const map = mapOf(anyRotation(random), voxelUm, [1, 1, -1], SHIFT);
      const points = landmarksOf(map, random, { count: 8 });
      expect(fitLandmarks(points, { voxelUm }).model).toBe('rigid');
      const unknown = fitLandmarks(points);
      expect(unknown.model).toBe('triaxial');
      expect(apartUm(unknown.voxelToDieUm, map)).toBeLessThan(1e-6);
    }
  });
});

describe('noise', () => {
  test('half a voxel of noise: a rigid scan stays rigid in nine of ten, and the map is as good as it says', () => {
    let rigid = 0;
    let worst = 0;
    for (let seed = 1; seed <= 100; seed++) {
      const random = seeded(seed);
      const view = VIEWS[seed % 4]!;
      const map = mapOf(mounted(random), VOXEL_UM, view.signs, SHIFT);
      const fit = fitLandmarks(landmarksOf(map, random, { count: 4 + (seed % 20), noiseUm: [0.02, 0.02] }), {
        voxelUm: VOXEL_UM,
      });
      if (fit.model === 'rigid') rigid++;
      if (fit.handednessFrom === 'landmarks')
        expect(fit).toMatchObject({ seenFrom: view.seenFrom, order: view.order });
      else continue;
      const middle: Vector3 = [500, 500, 75];
      const [a, b] = [apply3(fit.voxelToDieUm, middle), apply3(map, middle)];
      worst = Math.max(worst, Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]));
    }
    expect(rigid).toBeGreaterThan(85);
    // Four landmarks of 0.02 um in three coordinates: 0.02 root 3 / root 4 = 0.017 um, four times that at the very most.
    expect(worst).toBeLessThan(0.07);
  });

  test('a scale error of 2 % and a depth scale of 10 % are told from noise', () => {
    const found = { similarity: 0, uniaxial: 0 };
    for (let seed = 1; seed <= 50; seed++) {
      for (const [model, factors] of [
        ['similarity', [1.02, 1.02, 1.02]],
        ['uniaxial', [1, 1, 1.1]],
      ] as const) {
        const random = seeded(seed);
        const map = mapOf(
          mounted(random),
          factors.map((factor) => 0.04 * factor),
          VIEWS[seed % 4]!.signs,
          SHIFT,
        );
        const points = landmarksOf(map, random, { count: 8, noiseUm: [0.02, 0.02] });
        if (fitLandmarks(points, { voxelUm: VOXEL_UM }).model === model) found[model]++;
      }
    }
    expect(found.similarity).toBeGreaterThan(42);
    expect(found.uniaxial).toBeGreaterThan(42);
  });
});

describe('landmarks that leave something open', () => {
  const flat = (
    seed: number,
    signs: readonly number[],
    count = 7,
  ): { map: Affine3; points: ControlPoint[] } => {
    const random = seeded(seed);
    const map = mapOf(mounted(random), VOXEL_UM, signs, SHIFT);
    return { map, points: landmarksOf(map, random, { count, heights: [40], noiseUm: [0.01, 0.01] }) };
  };

  test.each(VIEWS)(
    'one height, seen from $seenFrom, $order: the options decide what the points cannot',
    (view) => {
      for (let seed = 1; seed <= 10; seed++) {
        const { map, points } = flat(seed, view.signs);
        const fit = fitLandmarks(points, { voxelUm: VOXEL_UM, order: view.order, seenFrom: 'auto' });
        // A plane of constant k shows whether the picture is mirrored, not which way the slices go.
        expect(fit).toMatchObject({ seenFrom: view.seenFrom, order: view.order, handednessFrom: 'options' });
        expect(apartUm(fit.voxelToDieUm, map)).toBeLessThan(0.2);
        expect(fit.why).toMatch(/all landmarks lie at one height, which leaves the depth scale .* open/);
        expect(fit.doubts.join()).not.toMatch(/was assumed/);
      }
    },
  );

  test('without options the assumption is stated, and the mirror image explains the points as well', () => {
    const { map, points } = flat(3, VIEWS[1].signs);
    const fit = fitLandmarks(points, { voxelUm: VOXEL_UM, order: 'auto', seenFrom: 'auto' });
    expect(fit).toMatchObject({ seenFrom: 'front', order: 'top-first', handednessFrom: 'assumption' });
    expect(fit.doubts.join()).toMatch(/seen from the front, top slice first was assumed/);
    expect(fit.mirrorImage && apartUm(fit.mirrorImage, map)).toBeLessThan(0.2);
    const residuals = points.map(({ voxel, dieUm }) => {
      const [x, y, z] = apply3(fit.mirrorImage!, voxel);
      return Math.hypot(x - dieUm[0], y - dieUm[1], z - dieUm[2]);
    });
    residuals.forEach((residual, n) => {
      expect(residual).toBeCloseTo(fit.residualsUm[n]!, 9);
    });
  });

  test('three landmarks: rigid with a voxel size, one common scale without', () => {
    const { points } = flat(5, VIEWS[0].signs, 3);
    const rigid = fitLandmarks(points, { voxelUm: VOXEL_UM });
    expect(rigid).toMatchObject({ model: 'rigid', degreesOfFreedom: { lateral: 3, depth: 3 } });
    expect(rigid.why).toMatch(/3 landmarks are too few for rotation, shift and one common scale/);
    const scaled = fitLandmarks(points);
    expect(scaled).toMatchObject({ model: 'similarity', degreesOfFreedom: { lateral: 2, depth: 2 } });
    expect(scaled.doubts.join()).toMatch(/the step between slices was taken to equal the pixel/);
  });

  test('one height and no voxel size: the step between slices is an assumption and said so', () => {
    const { points } = flat(6, VIEWS[0].signs, 9);
    expect(fitLandmarks(points).doubts.join()).toMatch(
      /the step between slices was taken to equal the pixel/,
    );
  });

  test('one height and a scale error: the depth follows the plane, and that is said', () => {
    const random = seeded(8);
    const map = mapOf(mounted(random), [0.042, 0.042, 0.042], VIEWS[0].signs, SHIFT);
    const fit = fitLandmarks(landmarksOf(map, random, { count: 8, heights: [30], noiseUm: [0.01, 0.01] }), {
      voxelUm: VOXEL_UM,
      order: 'top-first',
    });
    expect(fit.model).toBe('similarity');
    expect(fit.doubts.join()).toMatch(
      /do not measure the depth scale: it was taken to be off by the same factor/,
    );
  });

  test('two heights carry a depth scale', () => {
    let uniaxial = 0;
    for (let seed = 1; seed <= 20; seed++) {
      const random = seeded(seed);
      const map = mapOf(mounted(random), [0.04, 0.04, 0.05], VIEWS[2].signs, SHIFT);
      const points = landmarksOf(map, random, { count: 8, heights: [20, 90], noiseUm: [0.01, 0.01] });
      const fit = fitLandmarks(points, { voxelUm: VOXEL_UM });
      expect(fit).toMatchObject({ seenFrom: 'back', order: 'top-first', handednessFrom: 'landmarks' });
      // Heights 70 slices apart, each the mean of four landmarks: 0.01 / root 4 * root 2 / 70 = 0.0001 um a slice.
      expect(Math.abs(Math.hypot(...fit.voxelToDieUm.map((row) => row[2])) - 0.05)).toBeLessThan(0.0006);
      if (fit.model === 'uniaxial') uniaxial++;
    }
    expect(uniaxial).toBeGreaterThan(15);
  });

  test('heights two voxels apart under half a voxel of noise: never the wrong hand', () => {
    const said = { landmarks: 0, options: 0, assumption: 0 };
    for (let seed = 1; seed <= 100; seed++) {
      const random = seeded(seed);
      const view = VIEWS[seed % 4]!;
      const map = mapOf(mounted(random), VOXEL_UM, view.signs, SHIFT);
      const fit = fitLandmarks(
        landmarksOf(map, random, { count: 8, heights: [40, 42], noiseUm: [0.02, 0.02] }),
        {
          voxelUm: VOXEL_UM,
        },
      );
      said[fit.handednessFrom]++;
      if (fit.handednessFrom === 'landmarks') expect(fit.order).toBe(view.order);
    }
    // Both outcomes must occur, or the test says nothing.
    expect(said.landmarks).toBeGreaterThan(10);
    expect(said.assumption).toBeGreaterThan(10);
  });

  test('a plane that stands across the slices shows the order, not whether the picture is mirrored', () => {
    const map = mapOf(mounted(seeded(1), 0), VOXEL_UM, VIEWS[3].signs, SHIFT);
    const random = seeded(2);
    const points = Array.from({ length: 8 }, (): ControlPoint => {
      const voxel: Vector3 = [1000 * random.uniform(), 300, 150 * random.uniform()];
      return { voxel, dieUm: apply3(map, voxel) };
    });
    const fit = fitLandmarks(points, { voxelUm: VOXEL_UM, seenFrom: 'back' });
    expect(fit).toMatchObject({ seenFrom: 'back', order: 'bottom-first', handednessFrom: 'options' });
    expect(fitLandmarks(points, { voxelUm: VOXEL_UM })).toMatchObject({
      seenFrom: 'front',
      order: 'bottom-first',
      handednessFrom: 'assumption',
    });
  });
});

describe('doubts', () => {
  const scene = (seed: number, off: number): ControlPoint[] => {
    const random = seeded(seed);
    const map = mapOf(mounted(random), VOXEL_UM, VIEWS[seed % 4]!.signs, SHIFT);
    const points = landmarksOf(map, random, { count: 12, noiseUm: [0.02, 0.02] });
    return points.map(({ voxel, dieUm: [x, y, z] }, n) => ({
      voxel,
      dieUm: n === 4 ? [x, y + off, z] : [x, y, z],
      label: `line ${n + 2}`,
    }));
  };

  test('a landmark 20 voxels off is named, kept, and counted in the residuals', () => {
    let named = 0;
    for (let seed = 1; seed <= 50; seed++) {
      const fit = fitLandmarks(scene(seed, 0.8), { voxelUm: VOXEL_UM, file: 'landmarks.csv' });
      const doubts = fit.doubts.filter((doubt) => doubt.includes('scatter'));
      if (doubts.some((doubt) => doubt.startsWith('landmarks.csv, line 6: 0.'))) named++;
      expect(fit.residualsUm).toHaveLength(12);
      expect(Math.max(...fit.residualsUm)).toBe(fit.residualsUm[4]);
    }
    expect(named).toBeGreaterThanOrEqual(48);
  });

  test('honest landmarks are left alone in nineteen of twenty sets, also where heights are five times as rough', () => {
    for (const noiseUm of [
      [0.02, 0.02],
      [0.02, 0.1],
    ] as const) {
      let accused = 0;
      for (let seed = 1; seed <= 100; seed++) {
        const random = seeded(seed);
        const map = mapOf(mounted(random), VOXEL_UM, VIEWS[seed % 4]!.signs, SHIFT);
        const fit = fitLandmarks(landmarksOf(map, random, { count: 12, noiseUm }), { voxelUm: VOXEL_UM });
        if (fit.doubts.some((doubt) => doubt.includes('scatter'))) accused++;
      }
      expect(accused).toBeLessThanOrEqual(8);
    }
  });

  test('a landmark off by less than whole voxels can say is not doubted, however well the others agree', () => {
    for (let seed = 1; seed <= 10; seed++) {
      const random = seeded(seed);
      const map = mapOf(mounted(random), VOXEL_UM, VIEWS[seed % 4]!.signs, SHIFT);
      const exact = landmarksOf(map, random, { count: 12 });
      const moved = (off: number): ControlPoint[] =>
        exact.map(({ voxel, dieUm: [x, y, z] }, n) => ({ voxel, dieUm: [n === 4 ? x + off : x, y, z] }));
      const doubted = (off: number): boolean =>
        fitLandmarks(moved(off), { voxelUm: VOXEL_UM }).doubts.some((doubt) => doubt.includes('scatter'));
      // Rounding to whole voxels has a standard deviation of 1 / root 12: four of them are 1.15 voxels.
      expect(doubted(0.04)).toBe(false);
      expect(doubted(0.1)).toBe(true);
    }
  });

  test('a campaign that says otherwise is contradicted, not obeyed', () => {
    const map = mapOf(mounted(seeded(1)), VOXEL_UM, VIEWS[2].signs, SHIFT);
    const fit = fitLandmarks(landmarksOf(map, seeded(2), { count: 8, noiseUm: [0.02, 0.02] }), {
      voxelUm: VOXEL_UM,
      seenFrom: 'front',
      order: 'bottom-first',
    });
    expect(fit).toMatchObject({ seenFrom: 'back', order: 'top-first', handednessFrom: 'landmarks' });
    expect(fit.doubts).toContain(
      'The landmarks say seen from the back, the campaign says seen from the front.',
    );
    expect(fit.doubts).toContain('The landmarks say top slice first, the campaign says bottom slice first.');
  });

  test('a voxel size that is off by a tenth is worth a look', () => {
    const map = mapOf(mounted(seeded(1)), [0.044, 0.044, 0.044], VIEWS[0].signs, SHIFT);
    const fit = fitLandmarks(landmarksOf(map, seeded(2), { count: 8 }), { voxelUm: VOXEL_UM });
    expect(fit.doubts.join()).toMatch(
      /a voxel measures 44.00 x 44.00 x 44.00 nm, up to 10 % off the stated 40.00/,
    );
  });

  test('landmarks nearly along a line leave a tilt open, and that is said', () => {
    const map = mapOf(mounted(seeded(1)), VOXEL_UM, VIEWS[0].signs, SHIFT);
    const points = landmarksOf(map, seeded(2), { count: 8, size: [1000, 6, 6], noiseUm: [0.02, 0.02] });
    expect(fitLandmarks(points, { voxelUm: VOXEL_UM }).doubts.join()).toMatch(
      /direction of a voxel step unsure/,
    );
  });
});

test('what no map can be fitted to is refused', () => {
  const point = (i: number, j: number, k: number): ControlPoint => ({ voxel: [i, j, k], dieUm: [i, -j, -k] });
  const good = [point(0, 0, 0), point(1, 0, 0), point(0, 1, 0)];
  expect(() => fitLandmarks(good.slice(1))).toThrow(/at least 3 landmarks, not 2/);
  expect(() => fitLandmarks([point(0, 0, 0), point(1, 2, 3), point(2, 4, 6)])).toThrow(/in one line/);
  expect(() => fitLandmarks([...good, point(NaN, 0, 0)])).toThrow(/not finite/);
  expect(() => fitLandmarks(good, { voxelUm: [1, 0, 1] })).toThrow(/voxel size must be above 0/);
});
