import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { dieFromEngine, engineFromDie, pixelAtEngine, wholeField } from '../../../site/lib/camera.ts';

const grid = { origin_um: [100, 90] as const, pixel_um: 0.05, width_px: 300, height_px: 200 };

describe('camera', () => {
  it('knows where pixels lie: worked by hand', () => {
    // The centre of pixel (0, 0) is half a pixel from the corner: 0.5 / 300 of the width.
    expect(engineFromDie(grid, 100, 90)).toEqual([0.5 / 300, 0.5 / 300]);
    // 15 µm to the right is the outer edge of the grid but for half a pixel.
    expect(engineFromDie(grid, 114.975, 90)[0]).toBeCloseTo(1, 12);
    // Down in the picture is down in Y.
    expect(engineFromDie(grid, 100, 80.05)[1]).toBeCloseTo(199.5 / 300, 12);
  });

  it('goes there and back', () => {
    const um = fc.double({ min: -1e4, max: 1e4, noNaN: true });
    fc.assert(
      fc.property(um, um, (x, y) => {
        const [u, v] = engineFromDie(grid, x, y);
        const [backX, backY] = dieFromEngine(grid, u, v);
        expect(backX).toBeCloseTo(x, 7);
        expect(backY).toBeCloseTo(y, 7);
      }),
      { seed: 2, numRuns: 200 },
    );
  });

  it('finds the pixel that covers a point', () => {
    expect(pixelAtEngine(grid, 0, 0)).toEqual([0, 0]);
    expect(pixelAtEngine(grid, 299.999 / 300, 199.999 / 300)).toEqual([299, 199]);
    expect(pixelAtEngine(grid, 1, 0.1)).toBeNull();
    expect(pixelAtEngine(grid, 0.1, 200 / 300)).toBeNull();
    expect(pixelAtEngine(grid, -1e-9, 0)).toBeNull();
  });

  it('shows the whole field in any window', () => {
    // 15 by 10 µm: a square window is filled by the width, a wide one by the height.
    expect(wholeField(grid, 1, 1).widthUm).toBeCloseTo(15, 10);
    expect(wholeField(grid, 3, 1).widthUm).toBeCloseTo(30, 10);
    expect(wholeField(grid, 1, 1).xUm).toBeCloseTo(107.475, 10);
    expect(wholeField(grid, 1, 1).yUm).toBeCloseTo(85.025, 10);
  });
});
