/**
 * Words to put a short WebAssembly program together with, instruction by instruction: nothing has to be built before a start.
 * @source WebAssembly Core Specification 2.0, section 5 (binary format), 4.4 (instructions).
 */

export const I32 = 0x7f;
export const F64 = 0x7c;
export const V128 = 0x7b;
const NOTHING = 0x40;

/** Unsigned number in as few bytes as it takes. @source section 5.2.2 (LEB128) */
function leb(value: number): number[] {
  const bytes: number[] = [];
  let rest = value;
  do {
    const byte = rest & 0x7f;
    rest >>>= 7;
    bytes.push(rest === 0 ? byte : byte | 0x80);
  } while (rest !== 0);
  return bytes;
}

const vector = (...items: readonly (readonly number[])[]): number[] => [
  ...leb(items.length),
  ...items.flat(),
];
const section = (id: number, content: readonly number[]): number[] => [
  id,
  ...leb(content.length),
  ...content,
];
const text = (name: string): number[] => [...leb(name.length), ...Buffer.from(name, 'latin1')];

export const get = (local: number): number[] => [0x20, ...leb(local)];
export const set = (local: number): number[] => [0x21, ...leb(local)];
/** @source section 5.2.2: the highest bit of seven is a sign, so that one from 64 to 8191 takes two bytes */
export const constant = (value: number): number[] =>
  value < 64 ? [0x41, value] : [0x41, (value & 0x7f) | 0x80, value >> 7];
export const constantF64 = (value: number): number[] => [
  0x44,
  ...new Uint8Array(Float64Array.of(value).buffer),
];
export const leaveIf = (depth: number): number[] => [0x0d, depth];
export const loop = (...body: readonly number[]): number[] => [0x03, NOTHING, ...body, 0x0b];
export const block = (...body: readonly number[]): number[] => [0x02, NOTHING, ...body, 0x0b];
export const load32 = (offset: number): number[] => [0x28, 2, ...leb(offset)];
export const loadByte = (offset: number): number[] => [0x2d, 0, offset];
export const loadF64 = [0x2b, 3, 0] as const;
/** 32-bit integers, those that compare without signs. */
export const [not, equal, unequal, less, noMore, add, minus, times, and, shift] = [
  0x45, 0x46, 0x47, 0x49, 0x4d, 0x6a, 0x6b, 0x6c, 0x71, 0x74,
] as const;
/** 64-bit and 32-bit floating numbers; "from" and "to" are conversions. */
export const [lessF64, noLessF64, addF64, minusF64, timesF64, fromF64, toF64, addF32] = [
  0x63, 0x66, 0xa0, 0xa1, 0xa2, 0xaa, 0xb7, 0x92,
] as const;
export const simd = (code: number, ...more: number[]): number[] => [0xfd, ...leb(code), ...more];
/** Alignment is a hint: what is loaded begins anywhere. */
export const loadVector = (code: number, offset = 0): number[] => simd(code, 0, ...leb(offset));
export const storeVector = (offset = 0): number[] => simd(11, 0, ...leb(offset));
/** Code of a load of one 32-bit number into all lanes. */
export const SPLAT = 9;
/** Four 32-bit floating numbers at a time. */
export const [mul, sum] = [simd(230), simd(228)] as const;

/**
 * A module with one function over the memory "env" "memory".
 * @param params number types of its arguments; locals are counted on from them
 * @param locals how many of each number type
 * @param result true where it answers with an i32
 */
export function wasmModule(
  name: string,
  params: readonly number[],
  locals: readonly (readonly [count: number, type: number])[],
  body: readonly number[],
  result: boolean,
): Uint8Array<ArrayBuffer> {
  const code = [...vector(...locals), ...body, 0x0b];
  return Uint8Array.from([
    ...[0x00, 0x61, 0x73, 0x6d, 0x01, 0x00, 0x00, 0x00],
    ...section(1, vector([0x60, ...vector(...params.map((p) => [p])), ...(result ? [1, I32] : [0])])),
    ...section(2, vector([...text('env'), ...text('memory'), 0x02, 0x00, 0x01])),
    ...section(3, vector([0])),
    ...section(7, vector([...text(name), 0x00, 0])),
    ...section(10, vector([...leb(code.length), ...code])),
  ]);
}

/** Names for the locals of a function, counted from one on. */
export const numbered = <N extends number>(from: number): Numbers<N> =>
  Array.from({ length: 32 }, (_, n) => from + n) as unknown as Numbers<N>;
type Numbers<N extends number, T extends number[] = []> = T['length'] extends N
  ? T
  : Numbers<N, [...T, number]>;
