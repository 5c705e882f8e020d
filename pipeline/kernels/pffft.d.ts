/** The part used here of the SIMD build of PFFFT. */
declare module '@echogarden/pffft-wasm/simd' {
  export interface Pffft {
    /** Replaced whenever the memory grows: never keep it. */
    readonly HEAPF32: Float32Array;
    /** @param kind 0 real, 1 complex; @returns 0 for a length it cannot do */
    _pffft_new_setup(length: number, kind: number): number;
    _pffft_destroy_setup(setup: number): void;
    _pffft_aligned_malloc(bytes: number): number;
    _pffft_aligned_free(pointer: number): void;
    _pffft_transform(setup: number, input: number, output: number, work: number, direction: number): void;
    _pffft_transform_ordered(
      setup: number,
      input: number,
      output: number,
      work: number,
      direction: number,
    ): void;
    _pffft_zconvolve_accumulate(setup: number, a: number, b: number, sum: number, scaling: number): void;
  }
  export default function open(): Promise<Pffft>;
}
