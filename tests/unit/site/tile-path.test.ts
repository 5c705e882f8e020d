import { describe, expect, it } from 'vitest';
import { tileCounts } from '../../../shared/pyramid.ts';
import { coarseLevel, coarsePath, tilePath } from '../../../shared/tile-path.ts';

describe('tile addresses', () => {
  // Deep Zoom File Format Overview (Microsoft Learn): name_files/level/column_row.format beside the descriptor.
  it('follow from the descriptor', () => {
    expect(tilePath('plates/0007.dzi', 9, 1, 0, 'webp')).toBe('plates/0007_files/9/1_0.webp');
    expect(tilePath('renders/metal-1.v2.dzi', 0, 0, 0, 'png')).toBe('renders/metal-1.v2_files/0/0_0.png');
  });

  // 300 x 200: level 9 is whole (2 tiles), level 8 is 150 x 100 (1 tile). 256 x 256: level 8 is whole, 1 tile.
  it.each([
    [300, 200, 8],
    [256, 256, 8],
    [257, 10, 8],
    [1000, 1000, 8],
    [100, 90, 7],
    [1, 1, 0],
  ])('the coarse tile of %i x %i px is at level %i', (width, height, level) => {
    expect(coarseLevel({ width, height, tilePx: 256 })).toBe(level);
  });

  it('the coarse level is the finest of one tile, for all sizes', () => {
    for (let width = 1; width < 3000; width += 37) {
      for (const height of [1, 200, 256, 257, 1024, 2999]) {
        const size = { width, height, tilePx: 256 };
        const level = coarseLevel(size);
        expect(tileCounts(size, level)).toEqual({ columns: 1, rows: 1 });
        const finer = tileCounts(size, level + 1);
        const whole = Math.max(width, height) <= 256;
        expect(whole || finer.columns * finer.rows > 1).toBe(true);
      }
    }
  });

  it('has an address', () => {
    const size = { width: 300, height: 200, tilePx: 256 };
    expect(coarsePath('plates/0000.dzi', size, { layout: 'deep-zoom', format: 'webp' })).toBe(
      'plates/0000_files/8/0_0.webp',
    );
    expect(coarsePath('plates/0000.tif', size, { layout: 'packed-tiff', format: 'jpg' })).toBe(
      'plates/0000.webp',
    );
  });
});
