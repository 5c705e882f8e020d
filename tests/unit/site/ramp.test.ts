import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import {
  contrastRatio,
  distance,
  layerColour,
  linearOfHex,
  oklabFromLinear,
  PAPER_DARK,
  PAPER_LIGHT,
  PLATE_GROUND,
  type Rgb,
  relativeLuminance,
} from '../../../site/lib/ramp.ts';

const tokens = readFileSync(new URL('../../../site/styles/tokens.css', import.meta.url), 'utf8');
const [light = '', dark = ''] = tokens.split('@media');
const token = (name: string, scheme: 'light' | 'dark'): string => {
  const find = (text: string) => new RegExp(`--${name}:\\s*(#[0-9a-f]{6})`).exec(text)?.[1];
  const found = (scheme === 'dark' ? find(dark) : undefined) ?? find(light);
  if (!found) throw new Error(`no token ${name}`);
  return found;
};

describe('contrast', () => {
  // WCAG 2.2, definition of contrast ratio: black on white is 21:1. #767676 on white is the well-known lightest grey
  // that reaches 4.5:1 (4.54), #777777 just fails (4.48).
  it('follows the definition', () => {
    expect(contrastRatio('#000000', '#ffffff')).toBeCloseTo(21, 10);
    expect(contrastRatio('#767676', '#ffffff')).toBeCloseTo(4.54, 2);
    expect(contrastRatio('#ffffff', '#777777')).toBeCloseTo(4.48, 2);
    expect(contrastRatio('#123456', '#123456')).toBe(1);
  });

  it.each(['light', 'dark'] as const)('of text on paper is at least 4.5 to 1 (%s)', (scheme) => {
    for (const paper of ['paper', 'paper-raised', 'paper-sunk']) {
      for (const ink of ['ink', 'ink-soft', 'accent', 'doubt']) {
        const ratio = contrastRatio(token(ink, scheme), token(paper, scheme));
        expect(ratio, `${ink} on ${paper}`).toBeGreaterThanOrEqual(4.5);
      }
    }
    expect(contrastRatio(token('doubt', scheme), token('doubt-paper', scheme))).toBeGreaterThanOrEqual(4.5);
    expect(contrastRatio(token('ink', scheme), token('doubt-paper', scheme))).toBeGreaterThanOrEqual(4.5);
    expect(contrastRatio(token('accent-ink', scheme), token('accent', scheme))).toBeGreaterThanOrEqual(4.5);
  });

  it('of text and marks on the plate', () => {
    for (const ground of ['plate', 'plate-raised']) {
      for (const ink of ['plate-ink', 'plate-soft', 'plate-accent', 'plate-doubt']) {
        const ratio = contrastRatio(token(ink, 'light'), token(ground, 'light'));
        expect(ratio, `${ink} on ${ground}`).toBeGreaterThanOrEqual(4.5);
      }
    }
  });

  it('the colours named in code are those of the style sheet', () => {
    expect(PLATE_GROUND).toBe(token('plate', 'light'));
    expect(PAPER_LIGHT).toBe(token('paper', 'light'));
    expect(PAPER_DARK).toBe(token('paper', 'dark'));
  });
});

/**
 * Colour blindness simulated on linear RGB, full severity. @source G. M. Machado, M. M. Oliveira, L. A. F. Fernandes,
 * "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15 (2009), table of matrices.
 */
const BLINDNESS: Record<string, readonly [Rgb, Rgb, Rgb]> = {
  protan: [
    [0.152286, 1.052583, -0.204868],
    [0.114503, 0.786281, 0.099216],
    [-0.003882, -0.048116, 1.051998],
  ],
  deutan: [
    [0.367322, 0.860646, -0.227968],
    [0.280085, 0.672501, 0.047413],
    [-0.01182, 0.04294, 0.968881],
  ],
  tritan: [
    [1.255528, -0.076749, -0.178779],
    [-0.078411, 0.930809, 0.147602],
    [0.004733, 0.691367, 0.3039],
  ],
};

const seenBy = (matrix: readonly [Rgb, Rgb, Rgb], hex: string): Rgb => {
  const rgb = linearOfHex(hex);
  const row = (r: Rgb): number => Math.min(1, Math.max(0, r[0] * rgb[0] + r[1] * rgb[1] + r[2] * rgb[2]));
  return oklabFromLinear([row(matrix[0]), row(matrix[1]), row(matrix[2])]);
};

describe('layer ramp', () => {
  it.each([2, 5, 9, 12, 20])('rises in lightness and stands out on the plate, for %i layers', (count) => {
    let last = 0;
    for (let n = 0; n < count; n++) {
      const colour = layerColour(n, count);
      expect(colour).toMatch(/^#[0-9a-f]{6}$/);
      // WCAG 2.2, 1.4.11: graphical objects need 3:1 against what lies beside them.
      expect(contrastRatio(colour, PLATE_GROUND)).toBeGreaterThanOrEqual(3);
      expect(relativeLuminance(colour)).toBeGreaterThan(last);
      last = relativeLuminance(colour);
    }
  });

  it('goes in steps that look equal', () => {
    const labs = Array.from({ length: 10 }, (_, n) => oklabFromLinear(linearOfHex(layerColour(n, 10))));
    const steps = labs.slice(1).map((lab, n) => distance(labs[n]!, lab));
    expect(Math.max(...steps) / Math.min(...steps)).toBeLessThan(1.15);
  });

  it.each(Object.keys(BLINDNESS))('keeps its order and its steps for %s eyes', (kind) => {
    const labs = Array.from({ length: 9 }, (_, n) => seenBy(BLINDNESS[kind]!, layerColour(n, 9)));
    for (const [n, lab] of labs.entries()) {
      if (n === 0) continue;
      expect(lab[0]).toBeGreaterThan(labs[n - 1]![0]);
      // A just noticeable difference is near 0.02 in OKLab (common practice, no source).
      expect(distance(lab, labs[n - 1]!)).toBeGreaterThan(0.03);
    }
  });

  it('gives a single layer the middle', () => expect(layerColour(0, 1)).toBe(layerColour(1, 3)));
});
