/** Black and white of every plate: each height uses its own greys. */
import type { Affine3 } from '../../../shared/affine.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { slicesNeeded } from '../../kernels/resample.ts';

export interface GreyWindow {
  readonly black: number;
  readonly white: number;
}

/** Room left beyond the sampled extremes, as a share of the window. */
const MARGIN = 0.05;

/**
 * One window for a whole volume would drown faint metals (aluminium in oxide) beside bright ones (tungsten plugs) in a
 * few grey steps. A plate's window holds those of all slices that it draws on, four at the least, which also evens
 * out neighbours.
 * @param slices robust extremes of each slice; null for a broken one
 */
export function plateWindows(
  slices: readonly (GreyWindow | null)[],
  dieToVoxel: Affine3,
  grid: PlateGrid,
  zUm: readonly number[],
): GreyWindow[] {
  const whole = union(slices) ?? { black: 0, white: 1 };
  return zUm.map((z) => {
    const [first, end] = slicesNeeded(dieToVoxel, grid, z, slices.length);
    const { black, white } = union(slices.slice(first, end)) ?? whole;
    const margin = MARGIN * (white - black) || 0.5;
    return { black: black - margin, white: white + margin };
  });
}

function union(windows: readonly (GreyWindow | null)[]): GreyWindow | null {
  let all: GreyWindow | null = null;
  for (const w of windows) {
    if (!w) continue;
    all = all ? { black: Math.min(all.black, w.black), white: Math.max(all.white, w.white) } : w;
  }
  return all;
}
