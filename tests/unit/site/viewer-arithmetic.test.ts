/** Small arithmetic of the viewer: greys, order of fetching, overview. Values worked out by hand beside each. */
import { describe, expect, it } from 'vitest';
import { brickLookUp, brickPixels, NO_DATA, sheetOrder } from '../../../site/lib/brick-order.ts';
import { fitLevels } from '../../../site/lib/fit-levels.ts';
import { frameInOverview, overviewSize } from '../../../site/lib/overview-frame.ts';

describe('greys of the brick in the window of a plate', () => {
  const table = brickLookUp({ black: -1, white: 4.1 }, { black: 0, white: 2 });
  it('goes through the value of the volume', () => {
    // Grey 75 of the brick is -1 + 75/255 * 5.1 = 0.5, a quarter of the plate's window: 63.75.
    expect(table[75]).toBe(64);
    expect(table[50]).toBe(0);
    expect(table[10]).toBe(0);
    expect(table[255]).toBe(255);
  });
  it('becomes pixels: red, green, blue and opaque, or nothing at all', () => {
    const pixels = new Uint8Array(brickPixels({ black: -1, white: 4.1 }, { black: 0, white: 2 }).buffer);
    expect([...pixels.slice(4 * 75, 4 * 76)]).toEqual([64, 64, 64, 255]);
    expect([...pixels.slice(4 * NO_DATA)]).toEqual([0, 0, 0, 0]);
  });
});

describe('order of sheets', () => {
  it('begins where the reader is and looks ahead', () => {
    expect(sheetOrder(6, 2, 0)).toEqual([2, 1, 3, 0, 4, 5]);
    expect(sheetOrder(6, 2, 1)).toEqual([2, 3, 1, 4, 5, 0]);
    expect(sheetOrder(6, 2, -1)).toEqual([2, 1, 0, 3, 4, 5]);
    expect(sheetOrder(0, 0, 1)).toEqual([]);
  });
});

describe('levels fitted to a picture', () => {
  const picture = (greys: readonly number[], alpha = 255): Uint8ClampedArray =>
    Uint8ClampedArray.from(greys.flatMap((grey) => [grey, grey, grey, alpha]));

  it('leave half a percent beyond either end', () => {
    const greys = Array.from({ length: 1000 }, (_, n) => (n < 4 ? 0 : n < 6 ? 255 : 50 + (n % 101)));
    expect(fitLevels(picture(greys))).toEqual([50, 150]);
  });

  it('do not tear a flat picture apart, and say nothing of an empty one', () => {
    const [black, white] = fitLevels(picture(new Array(500).fill(120)))!;
    expect(white - black).toBe(16);
    expect(black).toBeLessThanOrEqual(120);
    expect(white).toBeGreaterThanOrEqual(120);
    expect(fitLevels(picture([1, 2, 3], 0))).toBeNull();
  });
});

describe('overview', () => {
  it('has the shape of the field and leaves room', () => {
    const grid = { origin_um: [0, 0], pixel_um: 0.1, width_px: 600, height_px: 300 } as const;
    expect(overviewSize(grid, 1000)).toEqual({ width: 132, height: 66 });
    expect(overviewSize(grid, 240)).toEqual({ width: 80, height: 40 });
  });

  it('frames what is in view, Y downward', () => {
    // 20 by 10 µm in 100 px: 5 px for each µm.
    const frame = frameInOverview([4, 6, 8, 8], [0, 0, 20, 10], 100);
    expect(frame).toEqual({ left: 20, top: 10, width: 20, height: 10 });
    // A view as small as a point still has a frame of 6 px round its middle; outside it stays at the edge.
    expect(frameInOverview([10, 5, 10.01, 5.01], [0, 0, 20, 10], 100)).toMatchObject({ width: 6, height: 6 });
    expect(frameInOverview([-9, 5, -5, 6], [0, 0, 20, 10], 100)).toMatchObject({ left: 0, width: 6 });
  });
});
