import { describe, expect, it } from 'vitest';
import { dieFromPixel, dieFromVoxel, gridBoxUm, pixelFromDie, voxelIndex } from '../../../shared/frames.ts';
import { polygonBox, signedArea, windingNumber } from '../../../shared/polygon.ts';
import {
  degrees,
  degreesFromRadians,
  nm,
  nmFromUm,
  radiansFromDegrees,
  umFromNm,
  wavelengthNm,
} from '../../../shared/units.ts';

describe('frames', () => {
  // Worked by hand: pixels of 0.5 um, the upper left centre at (10, 20).
  const grid = { origin_um: [10, 20], pixel_um: 0.5, width_px: 4, height_px: 3 } as const;

  it('count rows down from the largest Y', () => {
    expect(dieFromPixel(grid, 0, 0)).toEqual([10, 20]);
    expect(dieFromPixel(grid, 3, 2)).toEqual([11.5, 19]);
    expect(pixelFromDie(grid, 11.5, 19)).toEqual([3, 2]);
    expect(pixelFromDie(grid, 10.25, 20.25)).toEqual([0.5, -0.5]);
  });

  it('reach half a pixel beyond the outermost centres', () => {
    expect(gridBoxUm(grid)).toEqual([9.75, 18.75, 11.75, 20.25]);
  });

  it('take a voxel to the die by its row-major map', () => {
    const map = [
      [0.01, 0, 0, 100],
      [0, -0.01, 0, 80],
      [0, 0, -0.02, 6],
    ] as const;
    expect(dieFromVoxel(map, voxelIndex(100, 50, 10)).map((v) => Number(v.toFixed(9)))).toEqual([
      101, 79.5, 5.8,
    ]);
  });
});

describe('units', () => {
  it('convert', () => {
    expect(umFromNm(nm(250))).toBe(0.25);
    expect(nmFromUm(umFromNm(nm(250)))).toBe(250);
    expect(degreesFromRadians(radiansFromDegrees(degrees(61)))).toBeCloseTo(61, 12);
  });

  // CODATA 2022 through lambda = h c / E: 6.2 keV -> 0.1999745 nm, 8.0 keV -> 0.1549802 nm.
  it('give the tabulated wavelengths', () => {
    expect(wavelengthNm(6.2)).toBeCloseTo(0.1999745, 7);
    expect(wavelengthNm(8)).toBeCloseTo(0.1549802, 7);
    expect(wavelengthNm(12.4)).toBeCloseTo(0.0999873, 7);
  });
});

describe('polygons', () => {
  const lShape = [0, 0, 4, 0, 4, 2, 2, 2, 2, 4, 0, 4];

  it('have the area worked by hand, signed by direction', () => {
    expect(signedArea(lShape)).toBe(12);
    const back = [0, 4, 2, 4, 2, 2, 4, 2, 4, 0, 0, 0];
    expect(signedArea(back)).toBe(-12);
    expect(signedArea([0, 0, 1, 1])).toBe(0);
  });

  it('know inside from outside', () => {
    expect(windingNumber(lShape, 1, 3)).toBe(1);
    expect(windingNumber(lShape, 3, 3)).toBe(0);
    // Twice round the same square.
    expect(windingNumber([0, 0, 2, 0, 2, 2, 0, 2, 0, 0, 2, 0, 2, 2, 0, 2], 1, 1)).toBe(2);
  });

  it('have a box', () => {
    expect(polygonBox(lShape)).toEqual([0, 0, 4, 4]);
  });
});
