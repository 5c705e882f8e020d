import { describe, expect, it } from 'vitest';
import { createFft, goodLength } from '../../../demo-volume/image/fft.ts';
import {
  createWorkspace,
  forwardSlice,
  inverseSlice,
  type Spectrum,
  spectrumLength,
} from '../../../demo-volume/image/spectrum.ts';
import { randomStream } from '../../../demo-volume/random.ts';

/** The definition itself: X(k) = sum x(n) exp(-2 pi i k n / N). */
function slowDft(re: number[], im: number[]): { re: number[]; im: number[] } {
  const n = re.length;
  const out = { re: new Array<number>(n).fill(0), im: new Array<number>(n).fill(0) };
  for (let k = 0; k < n; k++)
    for (let x = 0; x < n; x++) {
      const a = (-2 * Math.PI * ((k * x) % n)) / n;
      out.re[k]! += re[x]! * Math.cos(a) - im[x]! * Math.sin(a);
      out.im[k]! += re[x]! * Math.sin(a) + im[x]! * Math.cos(a);
    }
  return out;
}

describe('transform of interleaved lines', () => {
  it.each([2, 3, 4, 5, 6, 8, 12, 15, 16, 30, 45, 64, 100, 216, 240])(
    'length %i agrees with the definition',
    (n) => {
      const random = randomStream(n, 'fft');
      const lines = 3;
      const plan = createFft(n, lines);
      const re = Array.from({ length: lines }, () => Array.from({ length: n }, () => random.normal()));
      const im = Array.from({ length: lines }, () => Array.from({ length: n }, () => random.normal()));
      for (let l = 0; l < lines; l++)
        for (let x = 0; x < n; x++) {
          plan.re[x * lines + l] = re[l]![x]!;
          plan.im[x * lines + l] = im[l]![x]!;
        }
      plan.forward();
      for (let l = 0; l < lines; l++) {
        const want = slowDft(re[l]!, im[l]!);
        for (let k = 0; k < n; k++) {
          expect(plan.re[k * lines + l]).toBeCloseTo(want.re[k]!, 9);
          expect(plan.im[k * lines + l]).toBeCloseTo(want.im[k]!, 9);
        }
      }
      plan.inverse();
      for (let l = 0; l < lines; l++)
        for (let x = 0; x < n; x++) {
          expect(plan.re[x * lines + l]! / n).toBeCloseTo(re[l]![x]!, 10);
          expect(plan.im[x * lines + l]! / n).toBeCloseTo(im[l]![x]!, 10);
        }
    },
  );

  it('gives the known spectra of a pulse and of a wave', () => {
    const n = 20;
    const plan = createFft(n, 2);
    plan.re[3 * 2] = 1;
    for (let x = 0; x < n; x++) plan.re[x * 2 + 1] = Math.cos((2 * Math.PI * 4 * x) / n);
    plan.forward();
    for (let k = 0; k < n; k++) {
      // A shifted pulse has a flat spectrum with the phase of the shift; a cosine has two lines of N / 2.
      expect(plan.re[k * 2]).toBeCloseTo(Math.cos((2 * Math.PI * 3 * k) / n), 12);
      expect(plan.im[k * 2]).toBeCloseTo(-Math.sin((2 * Math.PI * 3 * k) / n), 12);
      expect(plan.re[k * 2 + 1]).toBeCloseTo(k === 4 || k === 16 ? n / 2 : 0, 10);
    }
  });

  it('names the length that it cannot take', () => {
    expect(() => createFft(14, 1)).toThrow(/14/);
    // 640 = 2^7 5 is taken as it is; 169 = 13^2 and 170 = 2 5 17 are not, 180 = 4 9 5 is the next.
    expect([goodLength(640), goodLength(169), goodLength(7)]).toEqual([640, 180, 8]);
  });
});

describe('slices of a real volume', () => {
  it('agree with the two-dimensional definition and come back', () => {
    const size = [12, 10, 4] as const;
    const [nx, ny, nz] = size;
    const spectrum: Spectrum = {
      size,
      re: new Float32Array(spectrumLength(size)),
      im: new Float32Array(spectrumLength(size)),
    };
    const work = createWorkspace(size);
    const random = randomStream(1, 'slices');
    const image = Float64Array.from({ length: nx * ny }, () => random.normal());
    forwardSlice(work, spectrum, 2, image);
    const nh = nx / 2 + 1;
    for (let ky = 0; ky < ny; ky++)
      for (let kx = 0; kx < nh; kx++) {
        let [re, im] = [0, 0];
        for (let y = 0; y < ny; y++)
          for (let x = 0; x < nx; x++) {
            const a = -2 * Math.PI * ((kx * x) / nx + (ky * y) / ny);
            re += image[y * nx + x]! * Math.cos(a);
            im += image[y * nx + x]! * Math.sin(a);
          }
        const at = (2 * ny + ky) * nh + kx;
        expect(spectrum.re[at]).toBeCloseTo(re, 4);
        expect(spectrum.im[at]).toBeCloseTo(im, 4);
      }
    const back = new Float64Array(nx * ny);
    inverseSlice(work, spectrum, 2, back);
    // The slice's own two transforms are undone; the scale counts on the third, along the depth.
    for (let i = 0; i < back.length; i++) expect(back[i]! * nz).toBeCloseTo(image[i]!, 5);
  });
});
