/** Figures: what is written for print, read back by other programs. */
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { type Brush, type Figure, paint, pixelsOf, svgOf, wrapped } from '../../../site/lib/figure.ts';
import { withDensity } from '../../../site/lib/png-density.ts';

const stroke = { colour: '#ff0000', width: 2, dash: [] };
const figure: Figure = {
  ...{ width: 20, height: 10, title: 'A & <B>', description: 'said "so"' },
  marks: [
    { kind: 'box', box: [0, 0, 20, 10], fill: '#ffffff', stroke: null },
    { kind: 'box', box: [10, 0, 10, 5], fill: '#0000ff', stroke: null },
    {
      ...{ kind: 'line', closed: false, stroke },
      points: [
        [0, 8],
        [20, 8],
      ],
    },
    { kind: 'ring', at: [4, 4], radius: 2, stroke },
    {
      ...{
        kind: 'words',
        at: [1, 2],
        text: '5 < 6',
        size: 2,
        anchor: 'start',
        colour: '#000000',
        halo: null,
      },
    },
  ],
};

describe('a figure for print', () => {
  it('is 2008 pixels wide at 170 mm and 300 dpi', () => {
    // 170 / 25.4 * 300 = 2007.87.
    expect(pixelsOf(170)).toBe(2008);
  });

  it('says its density in the PNG, as libvips reads it', async () => {
    const png = await sharp({ create: { width: 8, height: 4, channels: 3, background: '#123456' } })
      .png()
      .toBuffer();
    const { data } = await sharp(png).raw().toBuffer({ resolveWithObject: true });
    const dense = withDensity(png, 300);
    expect((await sharp(dense).metadata()).density).toBe(300);
    expect(await sharp(dense).raw().toBuffer()).toEqual(data);
    expect(() => withDensity(new Uint8Array(40), 300)).toThrow('not a PNG');
  });

  it('is drawn by librsvg where its marks say', async () => {
    const text = svgOf(figure, []);
    expect(text).toContain('width="20mm"');
    expect(text).toContain('A &amp; &lt;B&gt;');
    const { data, info } = await sharp(Buffer.from(text), { density: 254 })
      .raw()
      .toBuffer({ resolveWithObject: true });
    const perMm = info.width / 20;
    expect(info.width).toBe(2 * info.height);
    const at = (xMm: number, yMm: number) =>
      [
        ...data.subarray(info.channels * (Math.round(perMm * yMm) * info.width + Math.round(perMm * xMm))),
      ].slice(0, 3);
    expect(at(15, 2)).toEqual([0, 0, 255]);
    expect(at(15, 8)).toEqual([255, 0, 0]);
    expect(at(15, 6)).toEqual([255, 255, 255]);
  });

  it('is painted in the same order', () => {
    const calls: string[] = [];
    const brush = new Proxy({} as Record<string, unknown>, {
      get:
        (_, name) =>
        (...values: unknown[]) =>
          calls.push(`${String(name)} ${values.join(' ')}`),
      set: () => true,
    });
    paint(brush as unknown as Brush, figure, []);
    expect(calls.filter((one) => !one.startsWith('setLineDash'))).toEqual([
      'fillRect 0 0 20 10',
      'fillRect 10 0 10 5',
      ...['beginPath ', 'moveTo 0 8', 'lineTo 20 8', 'stroke '],
      ...['beginPath ', `arc 4 4 2 0 ${2 * Math.PI}`, 'stroke '],
      'fillText 5 < 6 1 2',
    ]);
  });

  it('breaks long lines between words', () => {
    expect(wrapped('one two three four', 12, 2)).toEqual(['one two', 'three four']);
  });
});
