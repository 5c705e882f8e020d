/**
 * Oracle for the program that convolves in vector registers: the sum over all pixels within reach, written out in double
 * precision. The module itself is judged by the engine's validator and, where Debian's wabt is there, by its own.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { convolvePlane } from '../../pipeline/kernels/convolve-plane.ts';
import { convolveProgram } from '../../pipeline/kernels/convolve-program.ts';
import { separable } from '../../pipeline/kernels/gaussian-plane.ts';
import { HighPass } from '../../pipeline/kernels/high-pass.ts';
import { applyTaps } from '../../pipeline/kernels/interpolation-filter.ts';
import { upperMedian } from '../../pipeline/kernels/statistics.ts';
import { generator } from '../fixtures/random.ts';

function plain(values: Float32Array, w: number, h: number, taps: Float64Array, x: number, y: number): number {
  const reach = (taps.length - 1) / 2;
  let sum = 0;
  for (let v = Math.max(0, y - reach); v <= Math.min(h - 1, y + reach); v++)
    for (let u = Math.max(0, x - reach); u <= Math.min(w - 1, x + reach); u++)
      sum += taps[v - y + reach]! * taps[u - x + reach]! * values[v * w + u]!;
  return sum;
}

describe('convolvePlane', () => {
  // A pixel; less than a register; rows longer than a band; many bands; bands that the taps reach across.
  it.each([
    [1, 1, 3],
    [3, 7, 1],
    [17, 5, 0],
    [31, 230, 14],
    [9000, 12, 4],
    [1500, 100, 5],
    [5000, 60, 20],
  ])('agrees with plain sums, %i x %i, taps to %i, in place too', (w, h, reach) => {
    const random = generator(w + h);
    const values = Float32Array.from({ length: w * h }, () => 200 * random() - 80);
    const half = Array.from({ length: reach + 1 }, () => random() - 0.3);
    const taps = Float64Array.from([...half.slice(1).reverse(), ...half]);
    const out = convolvePlane(values, w, h, separable(taps), new Float32Array(w * h));
    const inPlace = values.slice();
    expect(convolvePlane(inPlace, w, h, separable(taps), inPlace)).toEqual(out);
    const weight = taps.reduce((sum, v) => sum + Math.abs(v), 0);
    // Two passes of sums in single precision, each rounded once a tap.
    const bound = 2 * (reach + 2) * 120 * weight * weight * 2 ** -24;
    for (let n = 0; n < 400; n++) {
      const at = n < 4 ? [0, w - 1, (h - 1) * w, h * w - 1][n]! : Math.floor(random() * w * h);
      const error = out[at]! - plain(values, w, h, taps, at % w, Math.floor(at / w));
      expect(Math.abs(error)).toBeLessThanOrEqual(bound);
    }
  });

  it.each([
    [40, 300],
    [3, 3],
    [2100, 70],
  ])('agrees with plain sums of taps all round, %i x %i', (w, h) => {
    const random = generator(w);
    const values = Float32Array.from({ length: w * h }, () => 200 * random() - 80);
    const side = 9;
    const taps = new Float64Array(side * side);
    for (let n = 0; n < (side * side + 1) / 2; n++) taps[n] = taps[side * side - 1 - n] = random() - 0.4;
    const out = applyTaps({ reach: 4, taps }, values, w, h);
    const weight = taps.reduce((sum, v) => sum + Math.abs(v), 0);
    for (let n = 0; n < w * h; n += 1 + Math.floor(random() * 90)) {
      let sum = 0;
      for (let k = 0; k < side * side; k++) {
        const [x, y] = [(n % w) + (k % side) - 4, Math.floor(n / w) + Math.floor(k / side) - 4];
        if (x >= 0 && y >= 0 && x < w && y < h) sum += taps[k]! * values[y * w + x]!;
      }
      expect(Math.abs(out[n]! - sum)).toBeLessThanOrEqual(side * side * 120 * weight * 2 ** -24);
    }
  });

  it('is a valid module', () => {
    expect(WebAssembly.validate(convolveProgram())).toBe(true);
    // @source wasm-validate of Debian's wabt
    if (!existsSync('/usr/bin/wasm-validate')) return;
    const folder = mkdtempSync(join(tmpdir(), 'program-'));
    writeFileSync(join(folder, 'a.wasm'), convolveProgram());
    execFileSync('/usr/bin/wasm-validate', [join(folder, 'a.wasm')]);
    rmSync(folder, { recursive: true });
  });
});

it('HighPass tells at a pixel what it would leave there', () => {
  const random = generator(6);
  const [w, h] = [150, 131];
  const mask = Uint8Array.from({ length: w * h }, (_, n) =>
    Math.hypot((n % w) - 70, n / w - 60) < 66 ? 1 : 0,
  );
  const values = Float32Array.from(mask, (v) => (v ? 30 * random() : Number.NaN));
  const highPass = new HighPass(mask, w, h, 26);
  const at = highPass.sampler(values);
  const sampled = [...mask.keys()]
    .filter((n) => mask[n] !== 0 && n % 7 === 0)
    .map((n) => [n, at(n)] as const);
  const whole = highPass.apply(values.slice());
  for (const [n, value] of sampled) expect(value).toBeCloseTo(whole[n]!, 4);
});

it.each([1, 2, 9, 10, 4001])('upperMedian is the one of the sorted numbers, %i of them', (length) => {
  const random = generator(length);
  const values = Float32Array.from({ length: 3 * length }, () => 10 ** (6 * random() - 4));
  const sorted = values.filter((_, n) => n % 3 === 1).sort();
  expect(upperMedian(values, (n) => n % 3 === 1)).toEqual({ median: sorted[length >> 1], count: length });
  expect(upperMedian(values, () => false)).toEqual({ median: Number.NaN, count: 0 });
});
