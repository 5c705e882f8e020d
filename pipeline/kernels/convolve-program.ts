/** The inner loop of separable convolutions as a WebAssembly program: sixteen pixels at a time in vector registers. */
import {
  add,
  block,
  constant,
  get,
  I32,
  leaveIf,
  less,
  loadVector,
  loop,
  minus,
  mul,
  noMore,
  numbered,
  SPLAT,
  set,
  storeVector,
  sum,
  V128,
  wasmModule,
} from './wasm-code.ts';

/** Pixels that are worked out together. */
export const PIXELS_AT_ONCE = 16;

/**
 * "convolve"(from, to, end, step, taps, last): for every pixel from `from` up to `end`, sixteen at a time, its value times the
 * first tap and the values 1, 2, ... steps before and behind it times the taps that follow, written from `to` on. All are
 * addresses in bytes: pixels and taps are float32, `step` is the way from a pixel to its neighbour along the axis, `last`
 * the address behind the last tap.
 */
export function convolveProgram(): Uint8Array<ArrayBuffer> {
  const [from, to, end, step, taps, last] = numbered<6>(0);
  const [before, behind, tap] = numbered<3>(6);
  const [weight, a, b, c, d] = numbered<5>(9);
  const sums = [a, b, c, d];
  const first = [
    ...[...get(taps), ...loadVector(SPLAT), ...set(weight)],
    ...sums.flatMap((s, n) => [...get(from), ...loadVector(0, 16 * n), ...get(weight), ...mul, ...set(s)]),
  ];
  const next = [
    ...[
      ...get(before),
      ...get(step),
      minus,
      ...set(before),
      ...get(behind),
      ...get(step),
      add,
      ...set(behind),
    ],
    ...[...get(tap), ...loadVector(SPLAT), ...set(weight)],
    ...sums.flatMap((s, n) => [
      ...[...get(before), ...loadVector(0, 16 * n), ...get(behind), ...loadVector(0, 16 * n), ...sum],
      ...[...get(weight), ...mul, ...get(s), ...sum, ...set(s)],
    ]),
    ...[...get(tap), ...constant(4), add, ...set(tap), ...get(tap), ...get(last), less, ...leaveIf(0)],
  ];
  const written = sums.flatMap((s, n) => [...get(to), ...get(s), ...storeVector(16 * n)]);
  const onward = (local: number): number[] => [
    ...get(local),
    ...constant(4 * PIXELS_AT_ONCE),
    add,
    ...set(local),
  ];
  const body = loop(
    ...first,
    ...[...get(from), ...set(before), ...get(from), ...set(behind)],
    ...[...get(taps), ...constant(4), add, ...set(tap)],
    // A single tap has none that follow.
    ...block(...get(last), ...get(tap), noMore, ...leaveIf(0), ...loop(...next)),
    ...written,
    ...[...onward(from), ...onward(to), ...get(from), ...get(end), less, ...leaveIf(0)],
  );
  return wasmModule(
    'convolve',
    Array.from({ length: 6 }, () => I32),
    [
      [3, I32],
      [5, V128],
    ],
    body,
    false,
  );
}
