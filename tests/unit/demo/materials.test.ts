import { describe, expect, it } from 'vitest';
import { electronDensity, OXIDE } from '../../../demo-volume/materials.ts';

/**
 * Electron densities computed from handbook densities (XrayDB material list; TiN: CRC Handbook, 97th ed.), CIAAW
 * atomic weights and the exact Avogadro number, to the last digit printed in the table they were tabulated in.
 */
const TABLE: [string, number, number][] = [
  ['copper', 2.4625, 5e-5],
  ['aluminium', 0.7834, 5e-5],
  ['tungsten', 4.666, 5e-4],
  ['tantalum', 4.055, 5e-4],
  ['titanium', 1.247, 5e-4],
  ['titanium nitride', 1.4705, 5e-5],
  ['silicon', 0.6992, 5e-5],
  ['polysilicon', 0.6992, 5e-5],
  ['silicon dioxide', 0.6615, 5e-5],
  ['silicon nitride', 0.9526, 5e-5],
  ['cobalt', 2.4555, 5e-5],
  ['ruthenium', 3.264, 5e-4],
];

describe('electron densities', () => {
  it.each(TABLE)('%s: %f e/A^3', (name, value, half) => {
    expect(Math.abs((electronDensity(name) as number) - value)).toBeLessThanOrEqual(half * 1.02);
  });

  it('gives the contrasts against oxide', () => {
    const contrast = (name: string): number => (electronDensity(name) as number) - OXIDE;
    expect(contrast('copper')).toBeCloseTo(1.801, 3);
    expect(contrast('tungsten')).toBeCloseTo(4.005, 3);
    expect(contrast('aluminium')).toBeCloseTo(0.122, 3);
    expect(contrast('polysilicon')).toBeCloseTo(0.038, 3);
  });

  it('knows no other material', () => {
    expect(electronDensity('unobtainium')).toBeUndefined();
  });
});
