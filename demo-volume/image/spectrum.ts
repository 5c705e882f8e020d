/**
 * The three steps from object to image in Fourier space. The spectrum is kept as the half that a real volume needs,
 * [slice][ky][kx], kx = 0 ... nx / 2, real and imaginary parts apart, in memory that all threads share.
 */
import { createFft, type FftPlan } from './fft.ts';
import { coneWeight, type TransferTables } from './transfer.ts';

export interface Spectrum {
  readonly size: readonly [number, number, number];
  readonly re: Float32Array;
  readonly im: Float32Array;
}

export const halfLength = (nx: number): number => nx / 2 + 1;

export function spectrumLength(size: readonly [number, number, number]): number {
  return halfLength(size[0]) * size[1] * size[2];
}

const PAIRS = 8;
const COLUMNS = 8;
const DEPTH_LINES = 16;

/** Buffers of one thread. */
export interface SpectrumWorkspace {
  readonly alongX: FftPlan;
  readonly alongY: FftPlan;
  readonly alongZ: FftPlan;
  readonly planeRe: Float64Array;
  readonly planeIm: Float64Array;
}

export function createWorkspace(size: readonly [number, number, number]): SpectrumWorkspace {
  const plane = halfLength(size[0]) * size[1];
  return {
    alongX: createFft(size[0], PAIRS),
    alongY: createFft(size[1], COLUMNS),
    alongZ: createFft(size[2], DEPTH_LINES),
    planeRe: new Float64Array(plane),
    planeIm: new Float64Array(plane),
  };
}

/** Transforms one real slice (nx by ny) and stores its half spectrum. */
export function forwardSlice(
  work: SpectrumWorkspace,
  spectrum: Spectrum,
  slice: number,
  image: Float64Array,
): void {
  const [nx, ny] = spectrum.size;
  const nh = halfLength(nx);
  const { alongX, alongY, planeRe, planeIm } = work;
  // Two real rows ride in one complex line: even rows as its real part, odd rows as its imaginary part.
  for (let first = 0; first < ny; first += 2 * PAIRS) {
    const pairs = Math.min(PAIRS, (ny - first) / 2);
    for (let p = 0; p < pairs; p++) {
      const even = (first + 2 * p) * nx;
      for (let x = 0; x < nx; x++) {
        alongX.re[x * PAIRS + p] = image[even + x] as number;
        alongX.im[x * PAIRS + p] = image[even + nx + x] as number;
      }
    }
    alongX.forward();
    for (let p = 0; p < pairs; p++) {
      const even = (first + 2 * p) * nh;
      const odd = even + nh;
      for (let x = 0; x < nh; x++) {
        const a = x * PAIRS + p;
        const b = (x === 0 ? 0 : nx - x) * PAIRS + p;
        const ar = alongX.re[a] as number;
        const ai = alongX.im[a] as number;
        const br = alongX.re[b] as number;
        const bi = alongX.im[b] as number;
        planeRe[even + x] = (ar + br) / 2;
        planeIm[even + x] = (ai - bi) / 2;
        planeRe[odd + x] = (ai + bi) / 2;
        planeIm[odd + x] = (br - ar) / 2;
      }
    }
  }
  const base = slice * ny * nh;
  for (let x0 = 0; x0 < nh; x0 += COLUMNS) {
    const lanes = Math.min(COLUMNS, nh - x0);
    for (let y = 0; y < ny; y++)
      for (let l = 0; l < lanes; l++) {
        alongY.re[y * COLUMNS + l] = planeRe[y * nh + x0 + l] as number;
        alongY.im[y * COLUMNS + l] = planeIm[y * nh + x0 + l] as number;
      }
    alongY.forward();
    for (let y = 0; y < ny; y++)
      for (let l = 0; l < lanes; l++) {
        spectrum.re[base + y * nh + x0 + l] = alongY.re[y * COLUMNS + l] as number;
        spectrum.im[base + y * nh + x0 + l] = alongY.im[y * COLUMNS + l] as number;
      }
  }
}

/** For one ky: along the depth to Fourier space, times the transfer, and back (unscaled). */
export function filterRow(
  work: SpectrumWorkspace,
  spectrum: Spectrum,
  tables: TransferTables,
  row: number,
): void {
  const [nx, ny, nz] = spectrum.size;
  const nh = halfLength(nx);
  const { alongZ } = work;
  const plane = ny * nh;
  for (let x0 = 0; x0 < nh; x0 += DEPTH_LINES) {
    const lanes = Math.min(DEPTH_LINES, nh - x0);
    const base = row * nh + x0;
    for (let z = 0; z < nz; z++)
      for (let l = 0; l < lanes; l++) {
        alongZ.re[z * DEPTH_LINES + l] = spectrum.re[base + z * plane + l] as number;
        alongZ.im[z * DEPTH_LINES + l] = spectrum.im[base + z * plane + l] as number;
      }
    alongZ.forward();
    for (let l = 0; l < lanes; l++) {
      const radial = Math.hypot(tables.kx[x0 + l] as number, tables.ky[row] as number);
      const lateral = (tables.gx[x0 + l] as number) * (tables.gy[row] as number);
      for (let z = 0; z < nz; z++) {
        const cone = coneWeight(radial, tables.kz[z] as number, tables.tanInner, tables.tanOuter);
        const h = cone * lateral * (tables.gz[z] as number);
        const at = z * DEPTH_LINES + l;
        alongZ.re[at] = (alongZ.re[at] as number) * h;
        alongZ.im[at] = (alongZ.im[at] as number) * h;
      }
    }
    alongZ.inverse();
    for (let z = 0; z < nz; z++)
      for (let l = 0; l < lanes; l++) {
        spectrum.re[base + z * plane + l] = alongZ.re[z * DEPTH_LINES + l] as number;
        spectrum.im[base + z * plane + l] = alongZ.im[z * DEPTH_LINES + l] as number;
      }
  }
}

/** Turns the phases of some columns of a slice's spectrum; the two Nyquist lines, which cannot turn, are dropped. */
function shiftColumns(
  alongY: FftPlan,
  [nx, ny]: readonly [number, number, number],
  x0: number,
  lanes: number,
  [dx, dy]: readonly [number, number],
): void {
  for (let y = 0; y < ny; y++) {
    const ky = y <= ny / 2 ? y : y - ny;
    for (let l = 0; l < lanes; l++) {
      const at = y * COLUMNS + l;
      const dropped = x0 + l === nx / 2 || y === ny / 2;
      const phase = 2 * Math.PI * (((x0 + l) * dx) / nx + (ky * dy) / ny);
      const [cos, sin] = dropped ? [0, 0] : [Math.cos(phase), Math.sin(phase)];
      const [re, im] = [alongY.re[at] as number, alongY.im[at] as number];
      alongY.re[at] = re * cos - im * sin;
      alongY.im[at] = re * sin + im * cos;
    }
  }
}

/**
 * Back to one real slice, with the scale of all three inverse transforms.
 * @param shift pixels by which the content moves towards the origin, by the shift theorem, so that noise stays as it is
 */
export function inverseSlice(
  work: SpectrumWorkspace,
  spectrum: Spectrum,
  slice: number,
  image: Float64Array,
  shift: readonly [number, number] | null = null,
): void {
  const [nx, ny, nz] = spectrum.size;
  const nh = halfLength(nx);
  const { alongX, alongY, planeRe, planeIm } = work;
  const base = slice * ny * nh;
  for (let x0 = 0; x0 < nh; x0 += COLUMNS) {
    const lanes = Math.min(COLUMNS, nh - x0);
    for (let y = 0; y < ny; y++)
      for (let l = 0; l < lanes; l++) {
        alongY.re[y * COLUMNS + l] = spectrum.re[base + y * nh + x0 + l] as number;
        alongY.im[y * COLUMNS + l] = spectrum.im[base + y * nh + x0 + l] as number;
      }
    if (shift) shiftColumns(alongY, spectrum.size, x0, lanes, shift);
    alongY.inverse();
    for (let y = 0; y < ny; y++)
      for (let l = 0; l < lanes; l++) {
        planeRe[y * nh + x0 + l] = alongY.re[y * COLUMNS + l] as number;
        planeIm[y * nh + x0 + l] = alongY.im[y * COLUMNS + l] as number;
      }
  }
  const scale = 1 / (nx * ny * nz);
  for (let first = 0; first < ny; first += 2 * PAIRS) {
    const pairs = Math.min(PAIRS, (ny - first) / 2);
    for (let p = 0; p < pairs; p++) {
      const even = (first + 2 * p) * nh;
      const odd = even + nh;
      for (let x = 0; x < nx; x++) {
        const s = x < nh ? x : nx - x;
        // The missing half is the conjugate of the kept one.
        const sign = x < nh ? 1 : -1;
        alongX.re[x * PAIRS + p] = (planeRe[even + s] as number) - sign * (planeIm[odd + s] as number);
        alongX.im[x * PAIRS + p] = sign * (planeIm[even + s] as number) + (planeRe[odd + s] as number);
      }
    }
    alongX.inverse();
    for (let p = 0; p < pairs; p++) {
      const even = (first + 2 * p) * nx;
      for (let x = 0; x < nx; x++) {
        image[even + x] = (alongX.re[x * PAIRS + p] as number) * scale;
        image[even + nx + x] = (alongX.im[x * PAIRS + p] as number) * scale;
      }
    }
  }
}
