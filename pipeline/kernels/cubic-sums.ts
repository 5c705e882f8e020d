/** Slices in the memory of the resampling program, and the sums it makes of them. */
import { type CubicType, cubicProgram } from './cubic-program.ts';

export type HeldSlice = Uint8Array | Int8Array | Uint16Array | Int16Array | Float32Array;

const ARRAYS = {
  uint8: Uint8Array,
  int8: Int8Array,
  uint16: Uint16Array,
  int16: Int16Array,
  float32: Float32Array,
} as const satisfies Record<CubicType, unknown>;

const PAGE = 65_536;
/** What one memory may hold. @source WebAssembly: addresses of 32 bits, here with room for what is no slice */
const MOST_BYTES = 3.5 * 2 ** 30;
const ALIGNED = 16;

export interface CubicShape {
  /** Number type of the voxels. */
  readonly type: string;
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** 1 where a column of voxels holds data; null where all do. */
  readonly mask: Uint8Array | null;
}

type Program = (...args: number[]) => number;

export class CubicSums {
  /** Places to be summed: i, j and k of each. */
  readonly i: Float64Array;
  readonly j: Float64Array;
  readonly k: Float64Array;
  /** Sums, one for each place. */
  readonly out: Float32Array;
  /** Places that were not summed, after a run. */
  readonly rest: Int32Array;
  readonly #shape: CubicShape;
  readonly #array: (typeof ARRAYS)[CubicType];
  readonly #buffer: ArrayBuffer;
  readonly #program: Program;
  readonly #table: Int32Array;
  readonly #weights: number;
  readonly #mask: number;
  readonly #slices: number;
  readonly #sliceBytes: number;
  #free: number[];
  #first = 0;

  private constructor(shape: CubicShape, slots: number, width: number, weights: Float64Array) {
    const type = shape.type as CubicType;
    this.#shape = shape;
    this.#array = ARRAYS[type];
    const pixels = shape.nx * shape.ny;
    this.#sliceBytes = aligned(pixels * this.#array.BYTES_PER_ELEMENT);
    const sizes = [4 * weights.length, shape.mask ? pixels : 0, 4 * slots, 8 * width, 8 * width, 8 * width];
    const places: number[] = [];
    // Address 0 says that there is no mask.
    let end = ALIGNED;
    for (const bytes of [...sizes, 4 * width, 4 * width]) {
      places.push(end);
      end += aligned(bytes);
    }
    const [atWeights, atMask, atTable, atI, atJ, atK, atOut, atRest] = places as [number, ...number[]];
    this.#slices = end;
    const memory = new WebAssembly.Memory({ initial: Math.ceil((end + slots * this.#sliceBytes) / PAGE) });
    const { buffer } = memory;
    this.#buffer = buffer;
    this.#weights = atWeights;
    new Float32Array(buffer, atWeights, weights.length).set(weights);
    this.#mask = shape.mask ? atMask! : 0;
    if (shape.mask) new Uint8Array(buffer, atMask, pixels).set(shape.mask);
    this.#table = new Int32Array(buffer, atTable, slots);
    this.i = new Float64Array(buffer, atI, width);
    this.j = new Float64Array(buffer, atJ, width);
    this.k = new Float64Array(buffer, atK, width);
    this.out = new Float32Array(buffer, atOut, width);
    this.rest = new Int32Array(buffer, atRest, width);
    this.#free = this.#allSlots();
    const module = new WebAssembly.Module(cubicProgram(type, weights.length / 4 - 1));
    this.#program = new WebAssembly.Instance(module, { env: { memory } }).exports.sums as Program;
  }

  /**
   * @param slots most slices that are held at a time
   * @param width most places that are summed at a time
   * @param weights four for each phase, from a step that is none to a whole one
   * @returns null where voxels of this type cannot be summed, or so many slices not be held
   */
  static of(shape: CubicShape, slots: number, width: number, weights: Float64Array): CubicSums | null {
    if (!Object.hasOwn(ARRAYS, shape.type)) return null;
    const { BYTES_PER_ELEMENT: wide } = ARRAYS[shape.type as CubicType];
    const pixels = shape.nx * shape.ny;
    if (slots * aligned(pixels * wide) + (shape.mask ? pixels : 0) > MOST_BYTES) return null;
    return new CubicSums(shape, slots, width, weights);
  }

  /** Takes the same memory for another run; all slices are let go of. @returns whether it is of the same shape and enough */
  reuse(shape: CubicShape, slots: number, width: number): boolean {
    const { type, nx, ny, nz, mask } = this.#shape;
    const same = type === shape.type && nx === shape.nx && ny === shape.ny && nz === shape.nz;
    if (!same || (mask === null) !== (shape.mask === null)) return false;
    if (slots > this.#table.length || width > this.i.length) return false;
    if (shape.mask) new Uint8Array(this.#buffer, this.#mask, nx * ny).set(shape.mask);
    this.#free = this.#allSlots();
    return true;
  }

  #allSlots(): number[] {
    return Array.from({ length: this.#table.length }, (_, n) => this.#table.length - 1 - n);
  }

  /** Whether a voxel may be no number. */
  get isFloat(): boolean {
    return this.#shape.type === 'float32';
  }

  /** Copies a slice into the memory. @throws RangeError when as many are held as were said to be */
  hold(values: ArrayLike<number>): HeldSlice {
    const slot = this.#free.pop();
    if (slot === undefined) throw new RangeError(`More than ${this.#table.length} slices at a time.`);
    const { nx, ny } = this.#shape;
    const view = new this.#array(this.#buffer, this.#slices + slot * this.#sliceBytes, nx * ny);
    view.set(values);
    return view;
  }

  /** Gives the place of a held slice to another. */
  release(slice: HeldSlice): void {
    this.#free.push((slice.byteOffset - this.#slices) / this.#sliceBytes);
  }

  /** @param slices held ones, the first of them slice `first` of the volume */
  setSlices(slices: readonly HeldSlice[], first: number): void {
    for (const [n, slice] of slices.entries()) this.#table[n] = slice.byteOffset;
    this.#first = first;
  }

  /**
   * Makes `out` of the first places; those at borders, on a row or a slice, and without data are left to the caller.
   * @returns how many are left, listed in `rest`
   */
  run(count: number): number {
    if (count === 0) return 0;
    const { nx, ny, nz } = this.#shape;
    return this.#program(
      ...[count, this.i.byteOffset, this.j.byteOffset - this.i.byteOffset, this.#table.byteOffset],
      ...[this.#weights, nx * this.#array.BYTES_PER_ELEMENT, this.out.byteOffset, this.rest.byteOffset],
      ...[this.#mask, nx, this.#first, nx - 2, ny - 2, nz - 2],
    );
  }
}

const aligned = (bytes: number): number => Math.ceil(bytes / ALIGNED) * ALIGNED;
