/** The inner loop of convolutions as a WebAssembly program: sixteen pixels at a time in vector registers. */
import {
  add,
  block,
  constant,
  get,
  I32,
  leaveIf,
  less,
  load32,
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
/** Bytes of a tap: its offset as int32, its weight as float32. */
export const TAP_BYTES = 8;

/**
 * "convolve"(from, to, end, taps, last): for every pixel from `from` up to `end`, sixteen at a time, its value times the weight
 * of the first tap, and for every tap that follows the two values before and behind it by the tap's offset times its weight;
 * written from `to` on. All are addresses in bytes: pixels are float32, `last` is the address behind the last tap.
 */
export function convolveProgram(): Uint8Array<ArrayBuffer> {
  const [from, to, end, taps, last] = numbered<5>(0);
  const [before, behind, tap] = numbered<3>(5);
  const [weight, a, b, c, d] = numbered<5>(8);
  const sums = [a, b, c, d];
  const onward = (local: number, bytes: number): number[] => [
    ...get(local),
    ...constant(bytes),
    add,
    ...set(local),
  ];
  const first = [
    ...[...get(taps), ...loadVector(SPLAT, 4), ...set(weight)],
    ...sums.flatMap((s, n) => [...get(from), ...loadVector(0, 16 * n), ...get(weight), ...mul, ...set(s)]),
  ];
  const next = [
    ...[...get(from), ...get(tap), ...load32(0), minus, ...set(before)],
    ...[...get(from), ...get(tap), ...load32(0), add, ...set(behind)],
    ...[...get(tap), ...loadVector(SPLAT, 4), ...set(weight)],
    ...sums.flatMap((s, n) => [
      ...[...get(before), ...loadVector(0, 16 * n), ...get(behind), ...loadVector(0, 16 * n), ...sum],
      ...[...get(weight), ...mul, ...get(s), ...sum, ...set(s)],
    ]),
    ...[...onward(tap, TAP_BYTES), ...get(tap), ...get(last), less, ...leaveIf(0)],
  ];
  const body = loop(
    ...first,
    ...[...get(taps), ...constant(TAP_BYTES), add, ...set(tap)],
    // A single tap has none that follow.
    ...block(...get(last), ...get(tap), noMore, ...leaveIf(0), ...loop(...next)),
    ...sums.flatMap((s, n) => [...get(to), ...get(s), ...storeVector(16 * n)]),
    ...[...onward(from, 4 * PIXELS_AT_ONCE), ...onward(to, 4 * PIXELS_AT_ONCE)],
    ...[...get(from), ...get(end), less, ...leaveIf(0)],
  );
  const params = Array.from({ length: 5 }, () => I32);
  const locals = [
    [3, I32],
    [5, V128],
  ] as const;
  return wasmModule('convolve', params, locals, body, false);
}
