/** Convolution of a raster with symmetric taps, band by band through the memory of a WebAssembly program. */
import { convolveProgram, PIXELS_AT_ONCE, TAP_BYTES } from './convolve-program.ts';

const PAGE = 65_536;
/** Pixels of a band: so few that they stay in the cache from one pass to the next. */
const BAND_PIXELS = 65_536;
const LEAST_ROWS = 16;

type Convolve = (from: number, to: number, end: number, taps: number, last: number) => void;

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

/** A tap stands for the pixel at an offset and, but for the one in the middle, for the one opposite. */
export interface Tap {
  readonly dx: number;
  readonly dy: number;
  readonly weight: number;
}

/** Taps of one pass, the middle one (0, 0) first. */
export type Taps = readonly [Tap, ...Tap[]];

/**
 * Convolves with the taps of one pass after the other. Zero is assumed outside.
 * @param values width * height, row by row
 * @param passes one, or one down the columns and one along the rows
 * @param out may be `values`
 * @returns `out`
 */
export function convolvePlane(
  values: Float32Array,
  width: number,
  height: number,
  passes: readonly Taps[],
  out: Float32Array,
): Float32Array {
  const across = Math.max(0, ...passes.flat().map((t) => Math.abs(t.dx)));
  const reach = Math.max(0, ...passes.flat().map((t) => Math.abs(t.dy)));
  // Between two rows lie at least as many zeros as the taps reach, so that no row is seen from another.
  const stride = Math.ceil((width + across) / PIXELS_AT_ONCE) * PIXELS_AT_ONCE;
  const rows = Math.min(height, Math.max(LEAST_ROWS, Math.ceil(BAND_PIXELS / stride)));
  const atTaps = passes.map((_, n) => (TAP_BYTES / 4) * passes.slice(0, n).flat().length);
  const atRead = (TAP_BYTES / 4) * passes.flat().length + across;
  // Rows that are read, then a band for what each pass leaves, each with zeros before it.
  const atPassed = passes.map(
    (_, n) => atRead + (rows + 2 * reach) * stride + across + n * (rows * stride + across),
  );
  const size = atPassed.at(-1)! + rows * stride + across;
  const buffer = memoryOf(4 * size);
  const floats = new Float32Array(buffer, 0, size).fill(0);
  const offsets = new Int32Array(buffer, 0, size);
  passes.flat().forEach(({ dx, dy, weight }, n) => {
    offsets[2 * n] = 4 * (dy * stride + dx);
    floats[2 * n + 1] = weight;
  });
  const read = floats.subarray(atRead, atRead + (rows + 2 * reach) * stride);
  const written = floats.subarray(atPassed.at(-1)!);
  const lay = (row: number, at: number): void => {
    if (row < height) read.set(values.subarray(row * width, (row + 1) * width), at * stride);
    else read.fill(0, at * stride, at * stride + width);
  };
  for (let row = 0; row < reach; row++) lay(row, row + reach);
  for (let first = 0; first < height; first += rows) {
    const count = Math.min(rows, height - first);
    for (let n = 0; n < count; n++) lay(first + n + reach, n + 2 * reach);
    let from = 4 * (atRead + reach * stride);
    passes.forEach((taps, n) => {
      const [at, to] = [4 * atTaps[n]!, 4 * atPassed[n]!];
      convolve(from, to, from + 4 * count * stride, at, at + TAP_BYTES * taps.length);
      from = to;
    });
    for (let n = 0; n < count; n++)
      out.set(written.subarray(n * stride, n * stride + width), (first + n) * width);
    // What the next band reads again is kept here: in `out`, which may be `values`, it is gone.
    read.copyWithin(0, count * stride, (count + 2 * reach) * stride);
  }
  return out;
}
