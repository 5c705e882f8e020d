/** Small pictures: image against drawing, and windows worth looking at. */
import { describe, expect, it } from 'vitest';
import { chooseWindows } from '../../../site/lib/choose-windows.ts';
import {
  fitContrast,
  LESS,
  localGround,
  MORE,
  paintDifference,
  stretchGrey,
} from '../../../site/lib/difference.ts';
import { generator } from '../../fixtures/random.ts';

/** RGBA with the value in red. */
const picture = (values: readonly number[], alpha = 255): Uint8ClampedArray =>
  Uint8ClampedArray.from(values.flatMap((value) => [value, value, value, alpha]));

describe('difference of image and drawing', () => {
  const random = generator(5);
  const drawn = Array.from({ length: 900 }, (_, n) => (n % 30 < 9 ? 255 : 0));
  for (const [name, contrast] of [
    ['bright metal', 90],
    ['dark metal', -60],
  ] as const) {
    it(`finds the contrast of ${name} from an image with noise`, () => {
      const image = drawn.map((v) => 120 + (contrast * v) / 255 + 20 * (random() - 0.5));
      const fitted = fitContrast(picture(image), picture(drawn))!;
      expect(Math.abs(fitted - contrast)).toBeLessThan(3);
      expect(Math.abs(localGround(picture(image), picture(drawn), fitted)! - 120)).toBeLessThan(3);
    });
    it(`paints what is missing of ${name} orange, and what is too much blue`, () => {
      const image = drawn.map((v, n) => 120 + (contrast * (n === 3 ? 0 : n === 20 ? 255 : v)) / 255);
      const out = new Uint8ClampedArray(4 * drawn.length);
      paintDifference(picture(image), picture(drawn), { ground: 120, contrast }, out);
      expect([...out.slice(12, 15)]).toEqual([...LESS]);
      expect([...out.slice(80, 83)]).toEqual([...MORE]);
      expect([...out.slice(0, 3)]).toEqual([11, 12, 14]);
    });
  }
  it('claims no contrast where the image does not follow the drawing, or nothing is drawn', () => {
    const noise = drawn.map(() => 120 + 60 * (random() - 0.5));
    expect(fitContrast(picture(noise), picture(drawn))).toBeNull();
    expect(fitContrast(picture(noise), picture(drawn.map(() => 0)))).toBeNull();
    expect(fitContrast(picture(noise, 0), picture(drawn))).toBeNull();
    expect(localGround(picture(noise, 0), picture(drawn), 50)).toBeNull();
  });
  it('does not blow noise up into a picture', () => {
    const faint = picture(drawn.map((_, n) => 100 + (n % 4)));
    stretchGrey(faint, 48);
    const greys = [...faint].filter((_, at) => at % 4 === 0);
    expect(Math.max(...greys) - Math.min(...greys)).toBeLessThan(20);
  });
});

describe('chooseWindows', () => {
  it('takes in each quarter the window with edges of both directions', () => {
    const [width, height] = [80, 60];
    const data = new Uint8ClampedArray(4 * width * height);
    const square = (x0: number, y0: number): void => {
      for (let y = y0; y < y0 + 4; y++) for (let x = x0; x < x0 + 4; x++) data[4 * (y * width + x)] = 255;
    };
    const corners: [number, number][] = [
      [8, 20],
      [60, 5],
      [22, 40],
      [66, 48],
    ];
    for (const [x, y] of corners) square(x, y);
    const windows = chooseWindows({ data, width, height }, 12);
    for (const [n, [x, y]] of windows.entries()) {
      const [cx, cy] = corners[n]!;
      expect(Math.abs(x - cx - 2), `column ${n}`).toBeLessThanOrEqual(6);
      expect(Math.abs(y - cy - 2), `row ${n}`).toBeLessThanOrEqual(6);
    }
  });
  it('takes the middles where nothing is drawn, and stays inside tiny pictures', () => {
    const empty = { data: new Uint8ClampedArray(4 * 8 * 4), width: 8, height: 4 };
    expect(chooseWindows(empty, 100)).toEqual([
      [2, 1],
      [6, 1],
      [2, 3],
      [6, 3],
    ]);
  });
});
