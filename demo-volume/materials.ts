/**
 * Electron densities of the materials of a chip, from bulk density and composition.
 *
 * n_e = rho N_A sum(Z) / sum(A) * 1e-24, in electrons per cubic angstrom, without anomalous scattering.
 * @source atomic weights: CIAAW abridged values (Prohaska et al., Pure Appl. Chem. 94, 573, 2022); densities: the
 * handbook values tabulated in the XrayDB material list (TiN: CRC Handbook, 97th ed., p. 4-92); N_A: SI (2019).
 */

const AVOGADRO = 6.02214076e23;

interface Element {
  readonly z: number;
  /** Standard atomic weight, g/mol. */
  readonly weight: number;
}

const ELEMENTS = {
  N: { z: 7, weight: 14.007 },
  O: { z: 8, weight: 15.999 },
  Al: { z: 13, weight: 26.982 },
  Si: { z: 14, weight: 28.085 },
  Ti: { z: 22, weight: 47.867 },
  Co: { z: 27, weight: 58.933 },
  Cu: { z: 29, weight: 63.546 },
  Ru: { z: 44, weight: 101.07 },
  Ta: { z: 73, weight: 180.95 },
  W: { z: 74, weight: 183.84 },
} satisfies Record<string, Element>;

type Symbol = keyof typeof ELEMENTS;

interface Material {
  readonly formula: Partial<Record<Symbol, number>>;
  readonly density_g_cm3: number;
}

const MATERIALS: Record<string, Material> = {
  copper: { formula: { Cu: 1 }, density_g_cm3: 8.96 },
  aluminium: { formula: { Al: 1 }, density_g_cm3: 2.7 },
  tungsten: { formula: { W: 1 }, density_g_cm3: 19.25 },
  tantalum: { formula: { Ta: 1 }, density_g_cm3: 16.69 },
  titanium: { formula: { Ti: 1 }, density_g_cm3: 4.506 },
  'titanium nitride': { formula: { Ti: 1, N: 1 }, density_g_cm3: 5.21 },
  silicon: { formula: { Si: 1 }, density_g_cm3: 2.329 },
  polysilicon: { formula: { Si: 1 }, density_g_cm3: 2.329 },
  'silicon dioxide': { formula: { Si: 1, O: 2 }, density_g_cm3: 2.2 },
  'silicon nitride': { formula: { Si: 3, N: 4 }, density_g_cm3: 3.17 },
  cobalt: { formula: { Co: 1 }, density_g_cm3: 8.9 },
  ruthenium: { formula: { Ru: 1 }, density_g_cm3: 12.45 },
};

export const materialNames = (): string[] => Object.keys(MATERIALS);

/** Electron density in e/A^3; undefined for a material that is not in the list. */
export function electronDensity(name: string): number | undefined {
  const material = MATERIALS[name];
  if (material === undefined) return undefined;
  let z = 0;
  let weight = 0;
  for (const [symbol, count] of Object.entries(material.formula)) {
    const element = ELEMENTS[symbol as Symbol];
    z += element.z * count;
    weight += element.weight * count;
  }
  return material.density_g_cm3 * AVOGADRO * (z / weight) * 1e-24;
}

/** Electron density of the oxide that everything is embedded in. */
export const OXIDE = electronDensity('silicon dioxide') as number;
