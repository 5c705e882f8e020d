/** Rasters that threads see without copying them. */

export const sharedRaster = (pixels: number): Float32Array<SharedArrayBuffer> =>
  new Float32Array(new SharedArrayBuffer(4 * pixels));

export const sharedMask = (pixels: number): Uint8Array<SharedArrayBuffer> =>
  new Uint8Array(new SharedArrayBuffer(pixels));
