/** Numbers as they are printed: a true minus sign, thin spaces between groups, units after a no-break space. */
const MINUS = '\u2212';
const THIN = '\u202f';
const NBSP = '\u00a0';

export function formatFixed(value: number, decimals: number): string {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

/** Whole number with a thin space between groups of three, from five digits on (ISO 80000-1, 7.3.2). */
export function formatCount(value: number): string {
  const digits = String(Math.round(Math.abs(value)));
  const grouped = digits.length > 4 ? digits.replace(/\B(?=(\d{3})+$)/g, THIN) : digits;
  return value < 0 ? MINUS + grouped : grouped;
}

export const formatUm = (value: number, decimals = 3): string => `${formatFixed(value, decimals)}${NBSP}µm`;

/** Length in nm below one micrometre, in mm from one millimetre on, else in micrometres; `figures` significant. */
export function formatLength(um: number, figures = 3): string {
  const size = Math.abs(um);
  if (size === 0) return `0${NBSP}µm`;
  const [factor, unit] = size < 1 ? [1000, 'nm'] : size >= 1000 ? [0.001, 'mm'] : [1, 'µm'];
  return `${formatFigures(um * factor, figures)}${NBSP}${unit}`;
}

/** `figures` significant figures, without an exponent where 10^-5 <= |value| < 10^7. */
export function formatFigures(value: number, figures: number): string {
  if (!Number.isFinite(value)) return '–';
  const size = Math.abs(value);
  if (size === 0) return '0';
  const exponent = Math.floor(Math.log10(size));
  if (exponent < -5 || exponent >= 7) {
    const [mantissa, power] = value.toExponential(figures - 1).split('e');
    return `${formatFixed(Number(mantissa), figures - 1)}${NBSP}×${NBSP}10${superscript(Number(power))}`;
  }
  return formatFixed(value, Math.max(0, figures - 1 - exponent));
}

const SUPERSCRIPT = '⁰¹²³⁴⁵⁶⁷⁸⁹';
const superscript = (power: number): string =>
  (power < 0 ? '⁻' : '') + [...String(Math.abs(power))].map((digit) => SUPERSCRIPT[Number(digit)]).join('');

/** Decimal multiples (kB = 1000 bytes), as IEC 80000-13 has them. */
export function formatBytes(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB'];
  let value = bytes;
  let unit = 0;
  while (value >= 999.5 && unit < units.length - 1) {
    value /= 1000;
    unit++;
  }
  return `${unit === 0 ? formatCount(value) : formatFigures(value, 3)}${NBSP}${units[unit]}`;
}

export const formatPercent = (share: number, decimals = 0): string =>
  `${formatFixed(share * 100, decimals)}${NBSP}%`;
