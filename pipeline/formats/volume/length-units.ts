/** Units of length as image files spell them. */

const NANOMETRES: Readonly<Record<string, number>> = {
  m: 1e9,
  meter: 1e9,
  metre: 1e9,
  decimeter: 1e8,
  centimeter: 1e7,
  millimeter: 1e6,
  millimetre: 1e6,
  picometer: 1e-3,
  dm: 1e8,
  cm: 1e7,
  mm: 1e6,
  µm: 1e3,
  um: 1e3,
  micron: 1e3,
  microns: 1e3,
  micrometer: 1e3,
  micrometers: 1e3,
  micrometre: 1e3,
  micrometres: 1e3,
  nm: 1,
  nanometer: 1,
  nanometers: 1,
  nanometre: 1,
  nanometres: 1,
  pm: 1e-3,
  Å: 0.1,
  angstrom: 0.1,
  angstroms: 0.1,
  in: 25.4e6,
  inch: 25.4e6,
  inches: 25.4e6,
  thou: 25.4e3,
};

/**
 * Nanometres per unit; null for a pixel or a unit that is no known length.
 * The micro sign is met as U+00B5, as the Greek letter U+03BC and as the escape `\u00B5`; the angstrom sign as U+00C5
 * and U+212B.
 */
export function nanometresPer(unit: string): number | null {
  const name = unescapeUnicode(unit).trim().replaceAll('\u03bc', '\u00b5').replaceAll('\u212b', '\u00c5');
  // Only words may be met in any case: Mm and mm, Pm and pm are different lengths.
  const known = name.length > 2 ? name.toLowerCase() : name;
  return Object.hasOwn(NANOMETRES, known) ? NANOMETRES[known] : null;
}

/** Java-style escapes, as ImageJ writes characters beyond ASCII. */
export function unescapeUnicode(text: string): string {
  return text.replace(/\\u([0-9a-fA-F]{4})/g, (_, code: string) =>
    String.fromCharCode(Number.parseInt(code, 16)),
  );
}

/** A positive, finite size, else null: what files state is not always a length. */
export function positive(value: number): number | null {
  return Number.isFinite(value) && value > 0 ? value : null;
}
