/** The in-plane angle of mostly rectangular shapes, modulo 90 degrees, from the power spectra of the slices. */
import { SquareFft } from '../../../kernels/fft.ts';
import type { WorkVolume } from './work-volume.ts';

export interface PlaneAngle {
  /** Turn of the edges against the picture's axes, counter-clockwise (y up), -45 to 45 degrees, in radians. */
  readonly radians: number;
  /** How far the best angle stands above the others, in standard deviations of theirs. */
  readonly strength: number;
}

/** Slices averaged before a spectrum is taken, micrometres. */
const BIN_UM = 0.16;
const SIDE = 256;
/** Frequencies looked at, cycles per pixel: below lies the outline of the field, above mostly noise. */
const LOWEST = 8 / SIDE;
const HIGHEST = 0.36;
const STEP_DEG = 0.25;
const STEPS = 90 / STEP_DEG;

/**
 * Straight edges put all their power on a line through the middle of the spectrum, at right angles to them; noise
 * spreads evenly over all directions. Power is taken relative to the mean of its ring, so that every frequency has a
 * say, and added up by direction modulo 90 degrees.
 */
export function findPlaneAngle(work: WorkVolume): PlaneAngle {
  const power = meanPower(work);
  const [px, py] = [SIDE * work.voxelUm[0], SIDE * work.voxelUm[1]];
  // Anisotropic pixels: rings and directions are those of the chip, not of the raster.
  const unit = Math.min(work.voxelUm[0], work.voxelUm[1]);
  const rings = new Float64Array(SIDE);
  const members = new Float64Array(SIDE);
  const half = SIDE / 2;
  const visit = (use: (p: number, ring: number, direction: number) => void): void => {
    for (let row = 0; row < SIDE; row++) {
      const v = -((row + half) % SIDE) + half;
      for (let column = 0; column < SIDE; column++) {
        const u = ((column + half) % SIDE) - half;
        const [fx, fy] = [(u / px) * unit, (v / py) * unit];
        const f = Math.hypot(fx, fy);
        if (f < LOWEST || f > HIGHEST) continue;
        use(row * SIDE + column, Math.round(f * SIDE), Math.atan2(fy, fx));
      }
    }
  };
  visit((p, ring) => {
    rings[ring] = rings[ring]! + power[p]!;
    members[ring] = members[ring]! + 1;
  });
  const sums = new Float64Array(STEPS);
  const weights = new Float64Array(STEPS);
  visit((p, ring, direction) => {
    const place = (((direction * 180) / Math.PI / STEP_DEG) % STEPS) + STEPS;
    const at = Math.floor(place) % STEPS;
    const part = place - Math.floor(place);
    // A pixel at frequency f is 1/f pixels' worth of angle wide: rings far out tell directions more finely.
    const value = ring * ((power[p]! * members[ring]!) / rings[ring]! - 1);
    sums[at] = sums[at]! + (1 - part) * value;
    sums[(at + 1) % STEPS] = sums[(at + 1) % STEPS]! + part * value;
    weights[at] = weights[at]! + (1 - part) * ring;
    weights[(at + 1) % STEPS] = weights[(at + 1) % STEPS]! + part * ring;
  });
  return peakOf(smoothed(sums.map((v, n) => v / Math.max(1, weights[n]!))));
}

function peakOf(profile: Float64Array): PlaneAngle {
  let best = 0;
  for (let n = 1; n < STEPS; n++) if (profile[n]! > profile[best]!) best = n;
  const at = (n: number): number => profile[(n + STEPS) % STEPS]!;
  const curve = at(best - 1) - 2 * at(best) + at(best + 1);
  const off = curve < 0 ? (0.5 * (at(best - 1) - at(best + 1))) / curve : 0;
  const others = Array.from(profile).filter((_, n) => {
    const away = Math.abs(n - best);
    return Math.min(away, STEPS - away) * STEP_DEG > 3;
  });
  const mean = others.reduce((sum, v) => sum + v, 0) / others.length;
  const spread = Math.sqrt(others.reduce((sum, v) => sum + (v - mean) ** 2, 0) / others.length);
  const degrees = (best + off) * STEP_DEG;
  return {
    radians: ((degrees - 90 * Math.round(degrees / 90)) * Math.PI) / 180,
    strength: spread > 0 ? (at(best) - mean) / spread : 0,
  };
}

/** Binomial smoothing round the circle, about half a degree. */
function smoothed(profile: Float64Array): Float64Array {
  let values = profile;
  for (let pass = 0; pass < 2; pass++)
    values = values.map(
      (v, n) => 0.5 * v + 0.25 * (values[(n + STEPS - 1) % STEPS]! + values[(n + 1) % STEPS]!),
    );
  return values;
}

/** Power spectrum of the middle of the field under a round window, mean over bins of slices of equal total power. */
function meanPower(work: WorkVolume): Float64Array {
  const { nx, ny, nz, voxels } = work;
  const area = nx * ny;
  const fft = new SquareFft(SIDE);
  const power = new Float64Array(SIDE * SIDE);
  const bin = Math.max(1, Math.round(BIN_UM / work.voxelUm[2]));
  const left = Math.floor((nx - SIDE) / 2);
  const top = Math.floor((ny - SIDE) / 2);
  const window = roundWindow(work, left, top);
  // Two bins at once: one as real, one as imaginary part.
  for (let k = 0; k + bin <= nz; k += 2 * bin) {
    const picture = fft.blank();
    for (const [part, out] of [picture.re, picture.im].entries()) {
      for (let n = 0; n < bin && k + part * bin + n < nz; n++) {
        const from = (k + part * bin + n) * area;
        for (let row = Math.max(0, -top); row < Math.min(SIDE, ny - top); row++) {
          for (let column = Math.max(0, -left); column < Math.min(SIDE, nx - left); column++) {
            const share = window[row * SIDE + column]!;
            if (share > 0)
              out[row * SIDE + column]! += share * voxels[from + (row + top) * nx + column + left]!;
          }
        }
      }
    }
    fft.forward(picture);
    for (let p = 0; p < power.length; p++) power[p]! += picture.re[p]! ** 2 + picture.im[p]! ** 2;
  }
  return power;
}

/** Falls to zero at the rim of the field, SIDE x SIDE; 0 where there are no data. */
function roundWindow({ nx, ny, weight }: WorkVolume, left: number, top: number): Float64Array {
  const window = new Float64Array(SIDE * SIDE);
  const radius = Math.min(nx, ny, SIDE) / 2;
  for (let row = Math.max(0, -top); row < Math.min(SIDE, ny - top); row++) {
    for (let column = Math.max(0, -left); column < Math.min(SIDE, nx - left); column++) {
      const r = Math.hypot(row + top - (ny - 1) / 2, column + left - (nx - 1) / 2) / radius;
      if (r >= 1 || weight[(row + top) * nx + column + left]! === 0) continue;
      window[row * SIDE + column] = Math.cos((Math.PI / 2) * r) ** 2;
    }
  }
  return window;
}
