/** Pitch of neighbouring equal features from the positions of their middles. */

export interface PitchFit {
  readonly pitchPx: number;
  readonly periods: number;
  /** From the uncertainty of the positions. */
  readonly noisePx: number;
  /** Largest departure of a middle from the even spacing. */
  readonly unevenPx: number;
}

/**
 * Slope of the positions against their number, by least squares. Middles of lines do not move with the threshold, so
 * neither does the pitch.
 * @param middlesPx at least two, in order
 * @param noisePx standard uncertainty of one position
 */
export function fitPitch(middlesPx: readonly number[], noisePx: number): PitchFit | null {
  const count = middlesPx.length;
  if (count < 2) return null;
  const centre = (count - 1) / 2;
  let spread = 0;
  let slope = 0;
  let mean = 0;
  middlesPx.forEach((at, n) => {
    spread += (n - centre) ** 2;
    slope += (n - centre) * at;
    mean += at / count;
  });
  const pitchPx = slope / spread;
  const unevenPx = Math.max(...middlesPx.map((at, n) => Math.abs(at - mean - pitchPx * (n - centre))));
  return { pitchPx, periods: count - 1, noisePx: noisePx / Math.sqrt(spread), unevenPx };
}
