/** What the greys say of the materials: densities where the volume is in a physical unit, ratios of contrast where not. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { wavelengthNm } from '../../../shared/units.ts';

type Materials = Measurements['materials'];

export interface LayerContrast {
  readonly name: string;
  readonly contrast: number;
  readonly uncertainty: number;
  readonly stated: string | null;
}

/**
 * Electron densities in e/Å^3: mass density times Avogadro's number times the sum of atomic numbers over the sum of
 * atomic weights. @source Densities: X-ray material table of the xraydb package (materials.dat), titanium nitride CRC
 * Handbook 97th ed. p. 4-92; weights: CIAAW abridged values (Prohaska et al. 2022); Avogadro's number CODATA 2022.
 */
export const ELECTRON_DENSITY: Readonly<Record<string, number>> = {
  copper: 2.4625,
  aluminium: 0.7834,
  tungsten: 4.666,
  tantalum: 4.055,
  titanium: 1.247,
  'titanium nitride': 1.4705,
  silicon: 0.6992,
  'silicon nitride': 0.9526,
  cobalt: 2.4555,
  ruthenium: 3.264,
};
export const OXIDE_DENSITY = 0.6615;
/** Classical electron radius, nanometres. @source CODATA 2022. */
const ELECTRON_RADIUS_NM = 2.8179403205e-6;

/**
 * Thin films are less dense than bulk by several per cent, and the missing cone takes some of the contrast of thin
 * layers (common practice and trials; no source): so far from the table still counts as that material.
 */
export const MATERIAL_TOLERANCE = 0.15;

/** How one unit of the volume turns into electrons per cubic ångström; null where it does not. */
export function densityPerUnit(
  unit: string,
  energyKeV: number | undefined,
): { factor: number; basis: Materials['basis'] } | null {
  const plain = unit
    .toLowerCase()
    .replaceAll(/[\s^*()·.]/g, '')
    .replaceAll('³', '3')
    .replaceAll('å', 'a')
    .replaceAll('µ', 'u');
  if (/^e(lectrons?)?(\/|per)(a|angstrom)3$/.test(plain)) return { factor: 1, basis: 'electron density' };
  if (/^e(lectrons?)?(\/|per)nm3$/.test(plain)) return { factor: 1e-3, basis: 'electron density' };
  const phase = /^rad(ians?)?(\/|per)(um|nm)$/.exec(plain);
  if (phase && energyKeV !== undefined) {
    // Phase per length = r_e lambda n_e, free electrons: 1 rad/nm = 1 / (r_e lambda) electrons per nm^3.
    const perNm = phase[3] === 'um' ? 1e-3 : 1;
    return {
      factor: (perNm / (ELECTRON_RADIUS_NM * wavelengthNm(energyKeV))) * 1e-3,
      basis: 'phase',
    };
  }
  return null;
}

export function materialsOf(
  layers: readonly LayerContrast[],
  unit: string,
  energyKeV: number | undefined,
): Materials {
  const strongest = Math.max(0, ...layers.map((l) => Math.abs(l.contrast)));
  const scale = densityPerUnit(unit, energyKeV);
  const rows = layers.map((layer) => {
    const base = {
      ...{ name: layer.name, contrast: layer.contrast, uncertainty: layer.uncertainty, stated: layer.stated },
      ratio: strongest > 0 ? Math.abs(layer.contrast) / strongest : null,
    };
    if (!scale) return { ...base, likeliest: null, text: 'Contrast only.' };
    return { ...base, ...likeliest(layer, scale.factor) };
  });
  return {
    basis: scale?.basis ?? 'contrast only',
    method: 'material',
    text: scale
      ? 'Contrast across the edges of each layer against tabulated densities less that of silicon dioxide. Films are less dense than bulk, and the missing cone takes some contrast of thin layers.'
      : `The volume is in ${unit === 'arbitrary' ? 'arbitrary units' : `the unit “${unit}”, which is not an electron density or a phase`}: only ratios of contrast can be given, and no material follows from them.`,
    layers: rows,
  };
}

function likeliest(layer: LayerContrast, factor: number): { likeliest: string | null; text: string } {
  const density = Math.abs(layer.contrast) * factor;
  const u = layer.uncertainty * factor;
  const away = Object.entries(ELECTRON_DENSITY)
    .map(([name, value]) => {
      const expected = value - OXIDE_DENSITY;
      return {
        name,
        expected,
        sigmas: Math.abs(density - expected) / Math.hypot(u, MATERIAL_TOLERANCE * expected),
      };
    })
    .sort((a, b) => a.sigmas - b.sigmas);
  const said = `${density.toFixed(3)} ± ${(1.96 * u).toFixed(3)} e/Å³ above its surroundings`;
  const fitting = away.filter((m) => m.sigmas < 1.96);
  if (fitting.length === 0) return { likeliest: null, text: `${said}; no tabulated material lies near.` };
  const [best] = fitting;
  const others = fitting.slice(1, 3).map((m) => `${m.name} (${m.expected.toFixed(2)})`);
  return {
    likeliest: best!.name,
    text: `${said}; ${best!.name} would be ${best!.expected.toFixed(2)}${others.length > 0 ? `, and ${others.join(' and ')} cannot be excluded` : ''}.`,
  };
}
