/** Whether places lie on a grid of columns and rows, however few of its points are taken. */

/** Agreement with a grid, pixels. */
const ON_GRID_PX = 1.4;
/** Fill covers at most this share of its pitch along a row. */
const MOST_COVER = 0.8;
/** A distance between two places may hold so many steps. */
const MOST_STEPS = 8;

export interface Steps {
  readonly pitch: number;
  readonly origin: number;
}

/**
 * The widest pitch that at least `share` of the values are multiples of, from some origin.
 * @param least no pitch below this is looked for
 * @returns null where there is none; the pitch is `least` where all values are one
 */
export function stepsOf(values: readonly number[], least: number, share: number): Steps | null {
  const levels = distinct(values);
  if (levels.length === 1) return { pitch: least, origin: levels[0]! };
  const pitches = new Set<number>();
  for (let a = 0; a < Math.min(levels.length, 12); a++)
    for (let b = a + 1; b < Math.min(levels.length, 13); b++)
      for (let k = 1; k <= MOST_STEPS; k++) {
        const pitch = (levels[b]! - levels[a]!) / k;
        if (pitch >= least) pitches.add(Math.round(pitch * 8) / 8);
      }
  for (const pitch of [...pitches].sort((p, q) => q - p))
    for (const origin of levels.slice(0, 6)) {
      const fitted = refine(values, pitch, origin);
      const near = values.filter((v) => off(v, fitted) <= ON_GRID_PX);
      // Two levels always are one step apart: a third must agree, or there are but two.
      const steps = new Set(near.map((v) => Math.round((v - fitted.origin) / fitted.pitch)));
      if (near.length >= share * values.length && (steps.size > 2 || levels.length === 2)) return fitted;
    }
  return null;
}

export const leastPitch = (size: number): number => size / MOST_COVER;

export function off(value: number, { pitch, origin }: Steps): number {
  const at = (value - origin) / pitch;
  return Math.abs(at - Math.round(at)) * pitch;
}

function distinct(values: readonly number[]): number[] {
  const out: number[] = [];
  for (const v of [...values].sort((a, b) => a - b))
    if (out.length === 0 || v - out.at(-1)! > 2 * ON_GRID_PX) out.push(v);
  return out;
}

/** Line through value against step number, by least squares. */
function refine(values: readonly number[], pitch: number, origin: number): Steps {
  let steps: Steps = { pitch, origin };
  for (let round = 0; round < 2; round++) {
    const near = values.filter((v) => off(v, steps) <= 2 * ON_GRID_PX);
    const n = near.map((v) => Math.round((v - steps.origin) / steps.pitch));
    const [mn, mv] = [mean(n), mean(near)];
    const nn = n.reduce((s, k) => s + (k - mn) ** 2, 0);
    if (!(nn > 0)) return steps;
    const slope = n.reduce((s, k, i) => s + (k - mn) * (near[i]! - mv), 0) / nn;
    steps = { pitch: slope, origin: mv - slope * mn };
  }
  return steps;
}

const mean = (list: readonly number[]): number => list.reduce((s, v) => s + v, 0) / Math.max(list.length, 1);
