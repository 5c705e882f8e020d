import { describe, expect, it } from 'vitest';
import { invertPoint, mapPoint, planeAtHeight, voxelToDie } from '../../../demo-volume/image/scan-frame.ts';
import { randomStream } from '../../../demo-volume/random.ts';
import { degrees } from '../../../shared/units.ts';
import { plainPose } from './small-plan.ts';

const close = (a: readonly number[], b: readonly number[], digits = 9): void =>
  a.forEach((v, i) => expect(v).toBeCloseTo(b[i]!, digits));

describe('voxel to die', () => {
  // Worked by hand from the definition of the frames: row 0 on top, slice 0 the first file.
  it('puts row 0 at the largest y and slice 0 at the top', () => {
    const map = voxelToDie(plainPose([11, 21, 31], { centreUm: [100, 50, 3] }));
    close(mapPoint(map, 5, 10, 15), [100, 50, 3]);
    close(mapPoint(map, 0, 0, 0), [99.8, 50.4, 3.6]);
    close(mapPoint(map, 10, 20, 30), [100.2, 49.6, 2.4]);
  });

  it('takes bottom-first slices and a mirrored picture', () => {
    const map = voxelToDie(plainPose([11, 21, 31], { order: 'bottom-first', mirrored: true }));
    close(mapPoint(map, 0, 0, 0), [0.2, 0.4, -0.6]);
  });

  it('turns counter-clockwise and leans towards the stated side', () => {
    const turned = voxelToDie(plainPose([3, 3, 3], { rotationDeg: degrees(90) }));
    // One column on is +y, one row down is +x.
    close(mapPoint(turned, 2, 1, 1), [0, 0.04, 0]);
    close(mapPoint(turned, 1, 2, 1), [0.04, 0, 0]);
    const leaning = voxelToDie(plainPose([3, 3, 3], { tiltDeg: degrees(90), tiltTowardsDeg: degrees(0) }));
    // The slices' normal, which points up from the last slice to the first, now points along +x.
    close(mapPoint(leaning, 1, 1, 0), [0.04, 0, 0]);
  });

  it('is undone by its inverse, and meets heights where it says', () => {
    const random = randomStream(9, 'poses');
    for (let n = 0; n < 40; n++) {
      const map = voxelToDie(
        plainPose([64, 48, 32], {
          ...{ rotationDeg: degrees(random.between(-180, 180)), tiltDeg: degrees(random.between(0, 3)) },
          ...{ tiltTowardsDeg: degrees(random.between(0, 360)), mirrored: random.uniform() < 0.5 },
          ...{ order: random.uniform() < 0.5 ? 'top-first' : 'bottom-first', centreUm: [12, -7, 3] },
          voxelUm: [0.041, 0.0405, 0.039],
        }),
      );
      const voxel = [random.between(0, 64), random.between(0, 48), random.between(0, 32)] as const;
      const [x, y, z] = mapPoint(map, ...voxel);
      close(invertPoint(map, x, y, z), voxel, 7);
      const [xi, xj, x0, yi, yj, y0] = planeAtHeight(map, z) as [
        number,
        number,
        number,
        number,
        number,
        number,
      ];
      close([xi * voxel[0] + xj * voxel[1] + x0, yi * voxel[0] + yj * voxel[1] + y0], [x, y], 7);
    }
  });
});
