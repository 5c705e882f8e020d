/**
 * Fast Fourier transforms of lengths with the factors 2, 3, 4 and 5, of many lines at once. The lines lie interleaved
 * (element x of line l at x * lines + l), so that every inner loop runs over neighbouring memory.
 * @source autosorting scheme: Stockham, AFIPS Proc. 28, 229 (1966); X(k) = sum_x x(n) exp(-2 pi i k n / N).
 */

export interface FftPlan {
  readonly length: number;
  readonly lines: number;
  /** Real and imaginary parts, length * lines each; transformed in place. */
  readonly re: Float64Array;
  readonly im: Float64Array;
  /** Unscaled transform with exp(-2 pi i). */
  forward(): void;
  /** Unscaled transform with exp(+2 pi i): forward then inverse multiplies by `length`. */
  inverse(): void;
}

function factorise(length: number): number[] {
  const factors: number[] = [];
  let rest = length;
  for (const radix of [4, 5, 3, 2])
    while (rest % radix === 0) {
      factors.push(radix);
      rest /= radix;
    }
  if (rest !== 1) throw new RangeError(`FFT length ${length} has a factor other than 2, 3 and 5`);
  return factors;
}

/** Smallest even length of at least `n` that has no factors but 2, 3 and 5. */
export function goodLength(n: number): number {
  for (let length = Math.max(2, n + (n % 2)); ; length += 2) {
    let rest = length;
    for (const radix of [2, 3, 5]) while (rest % radix === 0) rest /= radix;
    if (rest === 1) return length;
  }
}

/** One pass: reads from (ar, ai), writes to (br, bi). `n` is the length left, `s` the stride. */
type Pass = (
  ar: Float64Array,
  ai: Float64Array,
  br: Float64Array,
  bi: Float64Array,
  n: number,
  s: number,
  cos: Float64Array,
  sin: Float64Array,
) => void;

const radix2: Pass = (ar, ai, br, bi, n, s, cos, sin) => {
  const m = n / 2;
  const step = cos.length / n;
  for (let p = 0; p < m; p++) {
    const wr = cos[p * step] as number;
    const wi = sin[p * step] as number;
    const a = s * p;
    const b = a + s * m;
    const o = 2 * a;
    for (let q = 0; q < s; q++) {
      const xr = ar[a + q] as number;
      const xi = ai[a + q] as number;
      const yr = ar[b + q] as number;
      const yi = ai[b + q] as number;
      br[o + q] = xr + yr;
      bi[o + q] = xi + yi;
      const dr = xr - yr;
      const di = xi - yi;
      br[o + s + q] = dr * wr - di * wi;
      bi[o + s + q] = dr * wi + di * wr;
    }
  }
};

const SIN60 = Math.sqrt(3) / 2;

const radix3: Pass = (ar, ai, br, bi, n, s, cos, sin) => {
  const m = n / 3;
  const step = cos.length / n;
  for (let p = 0; p < m; p++) {
    const w1r = cos[p * step] as number;
    const w1i = sin[p * step] as number;
    const w2r = cos[2 * p * step] as number;
    const w2i = sin[2 * p * step] as number;
    const a = s * p;
    const b = a + s * m;
    const c = b + s * m;
    const o = 3 * a;
    for (let q = 0; q < s; q++) {
      const xr = ar[a + q] as number;
      const xi = ai[a + q] as number;
      const tr = (ar[b + q] as number) + (ar[c + q] as number);
      const ti = (ai[b + q] as number) + (ai[c + q] as number);
      const ur = SIN60 * ((ai[b + q] as number) - (ai[c + q] as number));
      const ui = -SIN60 * ((ar[b + q] as number) - (ar[c + q] as number));
      const hr = xr - tr / 2;
      const hi = xi - ti / 2;
      br[o + q] = xr + tr;
      bi[o + q] = xi + ti;
      br[o + s + q] = (hr + ur) * w1r - (hi + ui) * w1i;
      bi[o + s + q] = (hr + ur) * w1i + (hi + ui) * w1r;
      br[o + 2 * s + q] = (hr - ur) * w2r - (hi - ui) * w2i;
      bi[o + 2 * s + q] = (hr - ur) * w2i + (hi - ui) * w2r;
    }
  }
};

const radix4: Pass = (ar, ai, br, bi, n, s, cos, sin) => {
  const m = n / 4;
  const step = cos.length / n;
  for (let p = 0; p < m; p++) {
    const w1r = cos[p * step] as number;
    const w1i = sin[p * step] as number;
    const w2r = cos[2 * p * step] as number;
    const w2i = sin[2 * p * step] as number;
    const w3r = cos[3 * p * step] as number;
    const w3i = sin[3 * p * step] as number;
    const a = s * p;
    const b = a + s * m;
    const c = b + s * m;
    const d = c + s * m;
    const o = 4 * a;
    for (let q = 0; q < s; q++) {
      const e0r = (ar[a + q] as number) + (ar[c + q] as number);
      const e0i = (ai[a + q] as number) + (ai[c + q] as number);
      const e1r = (ar[a + q] as number) - (ar[c + q] as number);
      const e1i = (ai[a + q] as number) - (ai[c + q] as number);
      const f0r = (ar[b + q] as number) + (ar[d + q] as number);
      const f0i = (ai[b + q] as number) + (ai[d + q] as number);
      // Multiplied by -i.
      const f1r = (ai[b + q] as number) - (ai[d + q] as number);
      const f1i = (ar[d + q] as number) - (ar[b + q] as number);
      br[o + q] = e0r + f0r;
      bi[o + q] = e0i + f0i;
      const g1r = e1r + f1r;
      const g1i = e1i + f1i;
      br[o + s + q] = g1r * w1r - g1i * w1i;
      bi[o + s + q] = g1r * w1i + g1i * w1r;
      const g2r = e0r - f0r;
      const g2i = e0i - f0i;
      br[o + 2 * s + q] = g2r * w2r - g2i * w2i;
      bi[o + 2 * s + q] = g2r * w2i + g2i * w2r;
      const g3r = e1r - f1r;
      const g3i = e1i - f1i;
      br[o + 3 * s + q] = g3r * w3r - g3i * w3i;
      bi[o + 3 * s + q] = g3r * w3i + g3i * w3r;
    }
  }
};

const C72 = Math.cos((2 * Math.PI) / 5);
const C144 = Math.cos((4 * Math.PI) / 5);
const S72 = Math.sin((2 * Math.PI) / 5);
const S144 = Math.sin((4 * Math.PI) / 5);

const radix5: Pass = (ar, ai, br, bi, n, s, cos, sin) => {
  const m = n / 5;
  const step = cos.length / n;
  for (let p = 0; p < m; p++) {
    const a = s * p;
    const o = 5 * a;
    for (let q = 0; q < s; q++) {
      const i0 = a + q;
      const i1 = i0 + s * m;
      const i2 = i1 + s * m;
      const i3 = i2 + s * m;
      const i4 = i3 + s * m;
      const x0r = ar[i0] as number;
      const x0i = ai[i0] as number;
      const t1r = (ar[i1] as number) + (ar[i4] as number);
      const t1i = (ai[i1] as number) + (ai[i4] as number);
      const t2r = (ar[i2] as number) + (ar[i3] as number);
      const t2i = (ai[i2] as number) + (ai[i3] as number);
      const d1r = (ar[i1] as number) - (ar[i4] as number);
      const d1i = (ai[i1] as number) - (ai[i4] as number);
      const d2r = (ar[i2] as number) - (ar[i3] as number);
      const d2i = (ai[i2] as number) - (ai[i3] as number);
      const u1r = x0r + C72 * t1r + C144 * t2r;
      const u1i = x0i + C72 * t1i + C144 * t2i;
      const u2r = x0r + C144 * t1r + C72 * t2r;
      const u2i = x0i + C144 * t1i + C72 * t2i;
      // Sine parts multiplied by -i.
      const v1r = S72 * d1i + S144 * d2i;
      const v1i = -(S72 * d1r + S144 * d2r);
      const v2r = S144 * d1i - S72 * d2i;
      const v2i = -(S144 * d1r - S72 * d2r);
      br[o + q] = x0r + t1r + t2r;
      bi[o + q] = x0i + t1i + t2i;
      rotate(br, bi, o + s + q, u1r + v1r, u1i + v1i, cos[p * step] as number, sin[p * step] as number);
      rotate(
        br,
        bi,
        o + 2 * s + q,
        u2r + v2r,
        u2i + v2i,
        cos[2 * p * step] as number,
        sin[2 * p * step] as number,
      );
      rotate(
        br,
        bi,
        o + 3 * s + q,
        u2r - v2r,
        u2i - v2i,
        cos[3 * p * step] as number,
        sin[3 * p * step] as number,
      );
      rotate(
        br,
        bi,
        o + 4 * s + q,
        u1r - v1r,
        u1i - v1i,
        cos[4 * p * step] as number,
        sin[4 * p * step] as number,
      );
    }
  }
};

function rotate(
  br: Float64Array,
  bi: Float64Array,
  at: number,
  r: number,
  i: number,
  wr: number,
  wi: number,
): void {
  br[at] = r * wr - i * wi;
  bi[at] = r * wi + i * wr;
}

const PASSES: Readonly<Record<number, Pass>> = { 2: radix2, 3: radix3, 4: radix4, 5: radix5 };

/** A transform of `lines` interleaved lines; RangeError for a length with other factors. */
export function createFft(length: number, lines: number): FftPlan {
  const factors = factorise(length);
  const cos = new Float64Array(length);
  const sin = new Float64Array(length);
  for (let k = 0; k < length; k++) {
    cos[k] = Math.cos((-2 * Math.PI * k) / length);
    sin[k] = Math.sin((-2 * Math.PI * k) / length);
  }
  const re = new Float64Array(length * lines);
  const im = new Float64Array(length * lines);
  const workRe = new Float64Array(length * lines);
  const workIm = new Float64Array(length * lines);
  const run = (r: Float64Array, i: Float64Array, wr: Float64Array, wi: Float64Array): void => {
    let [ar, ai, br, bi] = [r, i, wr, wi];
    let n = length;
    let s = lines;
    for (const radix of factors) {
      (PASSES[radix] as Pass)(ar, ai, br, bi, n, s, cos, sin);
      [ar, ai, br, bi] = [br, bi, ar, ai];
      n /= radix;
      s *= radix;
    }
    if (ar !== r) {
      r.set(ar);
      i.set(ai);
    }
  };
  return {
    length,
    lines,
    re,
    im,
    forward: () => run(re, im, workRe, workIm),
    // Exchanging the parts turns exp(-i) into exp(+i).
    inverse: () => run(im, re, workIm, workRe),
  };
}
