/** Separable convolution of a raster with symmetric taps, band by band through the memory of a WebAssembly program. */
import { convolveProgram, PIXELS_AT_ONCE } from './convolve-program.ts';

const PAGE = 65_536;
/** Pixels of a band: so few that they stay in the cache between the two passes. */
const BAND_PIXELS = 65_536;
const LEAST_ROWS = 16;

type Convolve = (from: number, to: number, end: number, step: number, taps: number, last: number) => void;

/** One for all calls of a thread. */
const memory = new WebAssembly.Memory({ initial: 1 });
const convolve = new WebAssembly.Instance(new WebAssembly.Module(convolveProgram()), { env: { memory } })
  .exports.convolve as Convolve;

/** The program's memory, at least so large. */
function memoryOf(bytes: number): ArrayBuffer {
  const more = Math.ceil(bytes / PAGE) - memory.buffer.byteLength / PAGE;
  if (more > 0) memory.grow(more);
  return memory.buffer;
}

/**
 * Zero is assumed outside.
 * @param values width * height, row by row
 * @param taps of odd number, the same to both sides of the middle
 * @param out may be `values`
 * @returns `out`
 */
export function convolvePlane(
  values: Float32Array,
  width: number,
  height: number,
  taps: Float64Array,
  out: Float32Array,
): Float32Array {
  const reach = (taps.length - 1) / 2;
  // Between two rows lie at least as many zeros as the taps reach, so that no row is seen from another.
  const stride = Math.ceil((width + reach) / PIXELS_AT_ONCE) * PIXELS_AT_ONCE;
  const rows = Math.min(height, Math.max(LEAST_ROWS, Math.ceil(BAND_PIXELS / stride)));
  const atRead = reach + 1;
  const atPassed = atRead + (rows + 2 * reach) * stride + reach;
  const atWritten = atPassed + rows * stride + reach;
  const size = atWritten + rows * stride;
  const floats = new Float32Array(memoryOf(4 * size), 0, size).fill(0);
  for (let t = 0; t <= reach; t++) floats[t] = taps[reach + t]!;
  const read = floats.subarray(atRead, atPassed - reach);
  const written = floats.subarray(atWritten);
  const lay = (row: number, at: number): void => {
    if (row < height) read.set(values.subarray(row * width, (row + 1) * width), at * stride);
    else read.fill(0, at * stride, at * stride + width);
  };
  for (let row = 0; row < reach; row++) lay(row, row + reach);
  for (let from = 0; from < height; from += rows) {
    const count = Math.min(rows, height - from);
    for (let n = 0; n < count; n++) lay(from + n + reach, n + 2 * reach);
    const [first, passed, bytes] = [4 * (atRead + reach * stride), 4 * atPassed, 4 * count * stride];
    // Down the columns, then along the rows.
    convolve(first, passed, first + bytes, 4 * stride, 0, 4 * atRead);
    convolve(passed, 4 * atWritten, passed + bytes, 4, 0, 4 * atRead);
    for (let n = 0; n < count; n++)
      out.set(written.subarray(n * stride, n * stride + width), (from + n) * width);
    // What the next band reads again is kept here: in `out`, which may be `values`, it is gone.
    read.copyWithin(0, count * stride, (count + 2 * reach) * stride);
  }
  return out;
}
