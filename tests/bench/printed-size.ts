/**
 * The size of a printed via in closed form, from what the generator wrote of its lithography: the drawn rectangle under
 * a Gaussian exposure, cut at the level that moves a straight edge out by the bias. An oracle beside the generator's own
 * raster, which does the same on a fine grid.
 */
import { normalCdf, normalDensity } from '../../shared/profile/normal.ts';

export interface Lithography {
  readonly bias_per_edge_um: number;
  readonly corner_rounding_um: number;
}

/** Central share of the via over which its size in x and y is averaged, as the method of the build says. */
const CENTRAL = 0.4;
const STEPS = 400;

/** Half the extent along x at distance `v` from the middle line, micrometres; 0 where nothing was printed. */
function halfExtent(
  v: number,
  w: number,
  h: number,
  { bias_per_edge_um, corner_rounding_um: s }: Lithography,
) {
  const band = (u: number, size: number) => normalCdf((u + size / 2) / s) - normalCdf((u - size / 2) / s);
  const level = normalCdf(-bias_per_edge_um / s) / band(v, h);
  if (!(level < band(0, w))) return 0;
  let u = w / 2 + bias_per_edge_um;
  for (let n = 0; n < 40; n++) {
    const slope = (normalDensity((u + w / 2) / s) - normalDensity((u - w / 2) / s)) / s;
    const next = u - (band(u, w) - level) / slope;
    if (Math.abs(next - u) < 1e-9) return next;
    u = Math.min(w, Math.max(0, next));
  }
  return u;
}

/** Size along x over the central share of the via, and the side of the square of equal area, micrometres. */
export function printedVia(w: number, h: number, made: Lithography): { x: number; side: number } {
  const mean = (reach: number): number => {
    let sum = 0;
    for (let n = 0; n < STEPS; n++) sum += 2 * halfExtent(((n + 0.5) / STEPS - 0.5) * reach, w, h, made);
    return sum / STEPS;
  };
  const tall = h + 4 * made.corner_rounding_um;
  return { x: mean(CENTRAL * h), side: Math.sqrt(mean(tall) * tall) };
}
