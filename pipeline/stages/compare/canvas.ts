/** The raster that a scan is compared on: the plate grid with a rim, so that what lies just outside still counts. */
import type { PlateGrid } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import { sharedMask, sharedRaster } from '../../kernels/shared-raster.ts';

/** Width of the rim in pixels: beyond the reach of any halo worth modelling. */
const RIM_PX = 32;

export interface Canvas {
  /** Rim included. */
  readonly grid: PlateGrid;
  readonly width: number;
  readonly height: number;
  /** 1 where every portrait that is compared has data. */
  readonly mask: Uint8Array;
}

/** Box of pixels, half-open: columns x0 ... x1 - 1, rows y0 ... y1 - 1. */
export interface PixelBox {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

export function createCanvas(grid: PlateGrid, portraits: readonly Float32Array[]): Canvas {
  const width = grid.width_px + 2 * RIM_PX;
  const height = grid.height_px + 2 * RIM_PX;
  const mask = sharedMask(width * height);
  for (let row = 0; row < grid.height_px; row++) {
    for (let x = 0; x < grid.width_px; x++) {
      const from = row * grid.width_px + x;
      let seen = portraits.length > 0 ? 1 : 0;
      for (const values of portraits) if (!Number.isFinite(values[from]!)) seen = 0;
      mask[(row + RIM_PX) * width + x + RIM_PX] = seen;
    }
  }
  const [x, y] = grid.origin_um;
  const rim = RIM_PX * grid.pixel_um;
  return {
    grid: {
      origin_um: [x - rim, y + rim],
      pixel_um: grid.pixel_um,
      width_px: width,
      height_px: height,
    },
    width,
    height,
    mask,
  };
}

/** A portrait on the canvas; what lies outside the mask is 0. */
export function onCanvas(canvas: Canvas, grid: PlateGrid, values: Float32Array): Float32Array {
  const out = sharedRaster(canvas.width * canvas.height);
  for (let row = 0; row < grid.height_px; row++) {
    const to = (row + RIM_PX) * canvas.width + RIM_PX;
    for (let x = 0; x < grid.width_px; x++)
      if (canvas.mask[to + x] !== 0) out[to + x] = values[row * grid.width_px + x]!;
  }
  return out;
}

/** Outer edges of a pixel box in the die frame. */
export function boxUm(grid: PlateGrid, box: PixelBox): Box {
  const { pixel_um: p, origin_um: o } = grid;
  return [
    o[0] + (box.x0 - 0.5) * p,
    o[1] - (box.y1 - 0.5) * p,
    o[0] + (box.x1 - 0.5) * p,
    o[1] - (box.y0 - 0.5) * p,
  ];
}

export const clip = (box: PixelBox, size: { readonly width: number; readonly height: number }): PixelBox => ({
  x0: Math.min(Math.max(box.x0, 0), size.width),
  y0: Math.min(Math.max(box.y0, 0), size.height),
  x1: Math.min(Math.max(box.x1, 0), size.width),
  y1: Math.min(Math.max(box.y1, 0), size.height),
});

export const grow = (box: PixelBox, by: number): PixelBox => ({
  x0: box.x0 - by,
  y0: box.y0 - by,
  x1: box.x1 + by,
  y1: box.y1 + by,
});

export const meet = (a: PixelBox, b: PixelBox): boolean =>
  a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1;

export const join = (a: PixelBox, b: PixelBox): PixelBox => ({
  x0: Math.min(a.x0, b.x0),
  y0: Math.min(a.y0, b.y0),
  x1: Math.max(a.x1, b.x1),
  y1: Math.max(a.y1, b.y1),
});
