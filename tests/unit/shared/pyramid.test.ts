import { describe, expect, it } from 'vitest';
import {
  levelSize,
  maximumLevel,
  tileCounts,
  tileName,
  tileRectangle,
  totalTiles,
} from '../../../shared/pyramid.ts';

/**
 * Deep Zoom File Format Overview and "Inside Deep Zoom" (descriptor 4224 x 3168, 256 px tiles), counts worked by hand:
 * 13: 4224 x 3168 -> 17 x 13; 12: 2112 x 1584 -> 9 x 7; 11: 1056 x 792 -> 5 x 4; 10: 528 x 396 -> 3 x 2;
 * 9: 264 x 198 -> 2 x 1; then ten levels of one tile down from 8 to 0 (nine) -> 221 + 63 + 20 + 6 + 2 + 9 = 321.
 */
const picture = { width: 4224, height: 3168, tilePx: 256 };

describe('Deep Zoom arithmetic', () => {
  it('numbers the levels from 1 x 1 up', () => {
    expect(maximumLevel(picture)).toBe(13);
    expect(maximumLevel({ width: 1, height: 1, tilePx: 256 })).toBe(0);
    expect(maximumLevel({ width: 2, height: 1, tilePx: 256 })).toBe(1);
    expect(maximumLevel({ width: 1025, height: 3, tilePx: 256 })).toBe(11);
  });

  it.each([
    [13, 4224, 3168, 17, 13],
    [12, 2112, 1584, 9, 7],
    [11, 1056, 792, 5, 4],
    [10, 528, 396, 3, 2],
    [9, 264, 198, 2, 1],
    [8, 132, 99, 1, 1],
    [1, 2, 1, 1, 1],
    [0, 1, 1, 1, 1],
  ])('level %i is %i x %i in %i x %i tiles', (level, width, height, columns, rows) => {
    expect(levelSize(picture, level)).toEqual({ width, height });
    expect(tileCounts(picture, level)).toEqual({ columns, rows });
  });

  it('counts 321 tiles in all', () => {
    expect(totalTiles(picture)).toBe(321);
  });

  it('cuts the last column and row short', () => {
    // Without overlap: 4224 - 16 x 256 = 128, 3168 - 12 x 256 = 96.
    expect(tileRectangle(picture, 13, 16, 12)).toEqual({ x: 4096, y: 3072, width: 128, height: 96 });
    expect(tileRectangle(picture, 13, 0, 0)).toEqual({ x: 0, y: 0, width: 256, height: 256 });
  });

  it('halves by rounding up at every step, for any size', () => {
    for (let width = 1; width <= 600; width += 7) {
      const size = { width, height: 3, tilePx: 256 };
      let stepwise = width;
      for (let level = maximumLevel(size); level >= 0; level--) {
        expect(levelSize(size, level).width).toBe(stepwise);
        stepwise = Math.ceil(stepwise / 2);
      }
    }
  });

  it('names tiles by level, column and row', () => {
    expect(tileName('plates/0007', 10, 2, 1, 'webp')).toBe('plates/0007_files/10/2_1.webp');
  });
});
