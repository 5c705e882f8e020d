/**
 * The inner loop of the resampling as a WebAssembly program: 64 voxels by 12 weights, four columns at a time in one vector
 * register.
 */
import {
  add,
  addF32,
  addF64,
  and,
  block,
  constant,
  constantF64,
  equal,
  F64,
  fromF64,
  get,
  I32,
  leaveIf,
  less,
  lessF64,
  load32,
  loadByte,
  loadF64,
  loadVector,
  loop,
  minus,
  minusF64,
  mul,
  noLessF64,
  not,
  numbered,
  SPLAT,
  set,
  shift,
  simd,
  sum,
  times,
  timesF64,
  toF64,
  unequal,
  V128,
  wasmModule,
} from './wasm-code.ts';

/** Number types of voxels that the program reads. */
export type CubicType = 'uint8' | 'int8' | 'uint16' | 'int16' | 'float32';

/** Four voxels side by side as four 32-bit floating numbers; the address is on the stack. */
const FOUR: Readonly<Record<CubicType, readonly number[]>> = {
  uint8: [...loadVector(92), ...simd(137), ...simd(169), ...simd(251)],
  int8: [...loadVector(92), ...simd(135), ...simd(167), ...simd(250)],
  uint16: [...loadVector(4), ...simd(251)],
  int16: [...loadVector(3), ...simd(250)],
  float32: loadVector(0),
};
/** Powers of two of the bytes of a voxel. */
const WIDE: Readonly<Record<CubicType, number>> = { uint8: 0, int8: 0, uint16: 1, int16: 1, float32: 2 };

/**
 * A module with one function over the memory "env" "memory":
 * "sums"(count, places, step, slices, weights, stride, out, rest, mask, nx, first, endI, endJ, endK) -> left
 *
 * For each of `count` places, i, j and k as float64 at `places`, `places` + `step` and `places` + 2 `step`: the sum over 4
 * slices, 4 rows and 4 columns round it, as float32 at `out`. Places nearer than two voxels to a border, on a row or a slice
 * (where a weight is 0, and what it would weigh may be no number), or without data in the mask are not summed: their numbers
 * are listed as int32 at `rest`, and `left` says how many. Arguments are addresses in bytes; `slices` is a table of the
 * addresses of slices from slice `first` on, `weights` holds four float32 for each of `phases` + 1 phases, `stride` is a row
 * of voxels, `mask` is 0 where there is none; the ends are 2 less than the numbers of columns, rows and slices.
 */
export function cubicProgram(type: CubicType, phases: number): Uint8Array<ArrayBuffer> {
  const [count, places, step, slices, weights, stride, out, rest, mask, nx, first] = numbered<11>(0);
  const [endI, endJ, endK] = numbered<3>(11);
  const [n, left, i1, j1, k1, wi, wj, wk, at, table, offset] = numbered<11>(14);
  const [i, j, k] = numbered<3>(25);
  const [ja, jb, jc, jd, all] = numbered<5>(28);
  const rows = [ja, jb, jc, jd];
  const unless = (depth: number): number[] => [not, ...leaveIf(depth)];

  /** Too near to a border: to the rest. The comparisons are so that what is no number goes there too. */
  const inside = [
    [i, endI],
    [j, endJ],
    [k, endK],
  ].flatMap(([place, end], axis) => [
    ...[
      ...get(places),
      ...Array.from({ length: axis }, () => [...get(step), add]).flat(),
      ...loadF64,
      ...set(place!),
    ],
    ...[...get(place!), ...constantF64(1), noLessF64, ...unless(0)],
    ...[...get(place!), ...get(end!), lessF64, ...unless(0)],
  ]);
  const whole = [
    [i, i1, wi],
    [j, j1, wj],
    [k, k1, wk],
  ].flatMap(([place, floor, weight]) => [
    ...[...get(place!), fromF64, ...set(floor!)],
    ...[...get(place!), ...get(floor!), toF64, minusF64, ...constantF64(phases), timesF64],
    ...[...constantF64(0.5), addF64, fromF64, ...set(weight!)],
  ]);
  const pixel = [...get(j1), ...get(nx), times, ...get(i1), add, ...get(mask), add];
  const masked = block(
    ...[...get(mask), ...unless(0)],
    ...[...pixel, ...set(at), ...get(at), ...loadByte(0), ...get(at), ...loadByte(1), and],
    ...[
      ...get(at),
      ...get(nx),
      add,
      ...set(at),
      ...get(at),
      ...loadByte(0),
      and,
      ...get(at),
      ...loadByte(1),
      and,
    ],
    ...[...constant(1), unequal, ...leaveIf(1)],
  );
  const between = [wj, wk].flatMap((weight) => [
    ...[...get(weight), ...unless(0)],
    ...[...get(weight), ...constant(phases), equal, ...leaveIf(0)],
  ]);
  const addresses = [
    ...[...get(j1), ...constant(1), minus, ...get(nx), times, ...get(i1), add, ...constant(1), minus],
    ...[...constant(WIDE[type]), shift, ...set(offset)],
    ...[...get(k1), ...constant(1), minus, ...get(first), minus, ...constant(2), shift, ...get(slices), add],
    ...set(table),
    ...[wi, wj, wk].flatMap((w) => [...get(w), ...constant(4), shift, ...get(weights), add, ...set(w)]),
  ];
  const summed = [
    // The four weights of rows, each in all lanes.
    ...rows.flatMap((row, m) => [...get(wj), ...loadVector(SPLAT, 4 * m), ...set(row)]),
    ...[0, 1, 2, 3].flatMap((slice) => [
      ...[...get(table), ...load32(4 * slice), ...get(offset), add, ...set(at)],
      ...rows.flatMap((row, m) => [
        ...(m === 0 ? [] : [...get(at), ...get(stride), add, ...set(at)]),
        ...[...get(at), ...FOUR[type], ...get(row), ...mul],
        ...(m === 0 ? [] : sum),
      ]),
      ...[...get(wk), ...loadVector(SPLAT, 4 * slice), ...mul],
      ...(slice === 0 ? [] : [...get(all), ...sum]),
      ...set(all),
    ]),
    ...[...get(all), ...get(wi), ...loadVector(0), ...mul, ...set(all)],
    // (0 + 1) + (2 + 3), whatever the processor.
    ...[...get(out), ...get(all), ...simd(31, 0), ...get(all), ...simd(31, 1), addF32],
    ...[...get(all), ...simd(31, 2), ...get(all), ...simd(31, 3), addF32, addF32, 0x38, 2, 0],
  ];
  const listed = [
    ...[...get(rest), ...get(left), ...constant(2), shift, add, ...get(n), 0x36, 2, 0],
    ...[...get(left), ...constant(1), add, ...set(left)],
  ];
  const body = [
    ...loop(
      ...block(
        ...block(...inside, ...whole, ...masked, ...between, ...addresses, ...summed, 0x0c, 1),
        ...listed,
      ),
      ...[...get(places), ...constant(8), add, ...set(places), ...get(out), ...constant(4), add, ...set(out)],
      ...[...get(n), ...constant(1), add, ...set(n), ...get(n), ...get(count), less, ...leaveIf(0)],
    ),
    ...get(left),
  ];
  const params = [...Array.from({ length: 11 }, () => I32), F64, F64, F64];
  return wasmModule(
    'sums',
    params,
    [
      [11, I32],
      [3, F64],
      [5, V128],
    ],
    body,
    true,
  );
}
