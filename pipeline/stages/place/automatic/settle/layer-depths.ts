/**
 * At which height every layer shows, over the whole field and against that in every patch. At each height a patch is the
 * sum of the drawings of all layers, each times a strength: a layer's strength against height then is its own, where the
 * bare product with its drawing would also see the contacts below and the vias above that lie inside the same shapes.
 */
import { inverse, Matrix } from 'ml-matrix';
import { blurPlane } from '../../../../kernels/gaussian-plane.ts';
import { smooth } from '../../../../kernels/smooth.ts';
import type { DieView } from '../die-view.ts';
import { type Patch, patchesOf } from '../patches.ts';

export interface DepthCell {
  /** Index into the pictures of the view's grid. */
  readonly layer: number;
  readonly xUm: number;
  readonly yUm: number;
  /** How much higher the layer lies here than over the whole field, micrometres. */
  readonly depthUm: number;
  /** Inverse of its variance, from the residuals of the fit. */
  readonly precision: number;
}

export interface LayerDepths {
  readonly cells: readonly DepthCell[];
  /** How much too high each layer's middle lies, micrometres; null where it does not show. By picture of the grid. */
  readonly offsetUm: readonly (number | null)[];
}

const BLUR_PX = 1.2;
/** Structure wider than this is left out, pixels (one standard deviation). */
const WIDE_PX = 2.5;
/** Ridge on the strengths, as a share of a layer's own energy: shapes of two layers that coincide stay apart. */
const RIDGE = 0.02;
/** A layer is asked in a patch where it has this share of the energy it has in the fullest patch. */
const LEAST_DRAWN = 0.05;
/** Heights looked at around a layer, micrometres beyond its faces. */
const AROUND_UM = 0.35;
/** A layer's strength must stand this many deviations above what lies away from it. */
const LEAST_SHOWN = 5;

interface PatchProfiles {
  readonly patch: Patch;
  readonly layers: readonly number[];
  /** Strength of each of them at every height of the frame. */
  readonly strength: readonly Float64Array[];
  /** What one unit of noise in a pixel makes of each strength, variance. */
  readonly variance: readonly number[];
}

export function measureLayerDepths(view: DieView, sign: number): LayerDepths {
  const { frame, pictures } = view.grid;
  const { width, height, pixel } = frame;
  const drawn = pictures.map(({ picture }) => blurPlane(picture, width, height, BLUR_PX));
  const edges = drawn.map((t) => edgesOf(t, width, height));
  const patches = patchesOf(view);
  const energies = patches.map((patch) => drawn.map((t) => energyIn(t, patch, width)));
  const fullest = pictures.map((_, n) => Math.max(1e-9, ...energies.map((e) => e[n]!)));
  const profiles = patches.map((patch, q) => {
    const layers = pictures.flatMap((_, n) => (energies[q]![n]! > LEAST_DRAWN * fullest[n]! ? [n] : []));
    return profilesOf(view, drawn, edges, patch, layers, sign);
  });
  const middle = ((patches[0]?.side ?? 1) - 1) / 2;
  const cells: DepthCell[] = [];
  const offsetUm = pictures.map(({ layer }, n) => {
    const range = rangeOf(view, layer.bottom_um, layer.bottom_um + layer.thickness_um);
    if (!range) return null;
    const whole = meanProfile(profiles, n, frame.count);
    if (!whole) return null;
    const at = middleOf(whole, view, layer.bottom_um, layer.thickness_um);
    if (at === null) return null;
    for (const { patch, layers, strength } of profiles) {
      const own = layers.indexOf(n);
      const shift = own < 0 ? null : shiftAlong(strength[own]!, whole, range);
      if (!shift) continue;
      cells.push({
        layer: n,
        xUm: frame.left + (patch.column + middle) * pixel,
        yUm: frame.top - (patch.row + middle) * pixel,
        depthUm: shift.by * frame.step,
        precision: shift.precision / frame.step ** 2,
      });
    }
    return at;
  });
  return { cells, offsetUm };
}

/** A picture less its mean over a small square: wide plates show at every height, their edges where they are. */
function edgesOf(picture: Float32Array, width: number, height: number): Float32Array {
  const mean = smooth(Float32Array.from(picture), width, height, WIDE_PX);
  return mean.map((v, n) => picture[n]! - v);
}

function energyIn(values: Float32Array, { column, row, side }: Patch, width: number): number {
  let sum = 0;
  for (let r = row; r < row + side; r++)
    for (let p = r * width + column; p < r * width + column + side; p++) sum += values[p]! ** 2;
  return sum;
}

function profilesOf(
  view: DieView,
  drawn: readonly Float32Array[],
  edges: readonly Float32Array[],
  patch: Patch,
  layers: readonly number[],
  sign: number,
): PatchProfiles {
  const { width, height, count } = view.grid.frame;
  const area = width * height;
  const m = layers.length;
  const own = layers.map((n) => gathered(edges[n]!, patch, width));
  const all = layers.map((n) => gathered(drawn[n]!, patch, width));
  const gram = Matrix.zeros(m, m);
  for (let a = 0; a < m; a++)
    for (let b = 0; b < m; b++) gram.set(a, b, dot(own[a]!, all[b]!) * (a === b ? 1 + RIDGE : 1));
  const strength = layers.map(() => new Float64Array(count));
  if (m === 0) return { patch, layers, strength, variance: [] };
  const back = inverse(gram);
  const products = new Float64Array(m);
  const { sums } = view;
  const { column, row, side } = patch;
  const here = new Float64Array(side * side);
  for (let n = 0; n < count; n++) {
    const [low, high] = [n * area, (n + 1) * area];
    let q = 0;
    for (let r = row; r < row + side; r++)
      for (let p = r * width + column; p < r * width + column + side; p++)
        here[q++] = sums[high + p]! - sums[low + p]!;
    for (let a = 0; a < m; a++) {
      const t = own[a]!;
      let sum = 0;
      for (let k = 0; k < q; k++) sum += t[k]! * here[k]!;
      products[a] = sign * sum;
    }
    for (let a = 0; a < m; a++) {
      let value = 0;
      for (let b = 0; b < m; b++) value += back.get(a, b) * products[b]!;
      strength[a]![n] = value;
    }
  }
  return { patch, layers, strength, variance: layers.map((_, a) => back.get(a, a)) };
}

/** Pixels of a patch less their mean: a constant must not count. */
function gathered(values: Float32Array, { column, row, side }: Patch, width: number): Float32Array {
  const out = new Float32Array(side * side);
  let q = 0;
  let sum = 0;
  for (let r = row; r < row + side; r++)
    for (let p = r * width + column; p < r * width + column + side; p++) sum += out[q++] = values[p]!;
  const mean = sum / out.length;
  return out.map((v) => v - mean);
}

function dot(a: Float32Array, b: Float32Array): number {
  let sum = 0;
  for (let n = 0; n < a.length; n++) sum += a[n]! * b[n]!;
  return sum;
}

/** Heights around a layer that lie in the scan, half-open; null where the scan holds too little of it. */
function rangeOf(view: DieView, bottomUm: number, topUm: number): readonly [number, number] | null {
  const { frame } = view.grid;
  const [first, last] = view.range;
  const from = Math.max(first, Math.round((bottomUm - AROUND_UM - frame.bottom) / frame.step));
  const to = Math.min(last, Math.round((topUm + AROUND_UM - frame.bottom) / frame.step)) + 1;
  return to - from >= 6 ? [from, to] : null;
}

function meanProfile(profiles: readonly PatchProfiles[], layer: number, count: number): Float64Array | null {
  const out = new Float64Array(count);
  let weights = 0;
  for (const { layers, strength, variance } of profiles) {
    const own = layers.indexOf(layer);
    if (own < 0) continue;
    const weight = 1 / variance[own]!;
    weights += weight;
    for (let n = 0; n < count; n++) out[n] = out[n]! + weight * strength[own]![n]!;
  }
  return weights > 0 ? out.map((v) => v / weights) : null;
}

/**
 * Middle of the layer against the drawing's: where the strength is the same half a thickness below and above. True for
 * any profile that is the same both ways, whatever its blur and its real thickness.
 */
function middleOf(whole: Float64Array, view: DieView, bottomUm: number, thicknessUm: number): number | null {
  const { frame } = view.grid;
  const [first, last] = view.range;
  const half = thicknessUm / 2 / frame.step;
  const drawnAt = (bottomUm + thicknessUm / 2 - frame.bottom) / frame.step;
  const reach = AROUND_UM / frame.step;
  const at = (n: number): number => {
    const low = Math.floor(n);
    return (whole[low] ?? 0) + (n - low) * ((whole[low + 1] ?? 0) - (whole[low] ?? 0));
  };
  let best = { place: Number.NaN, inside: 0 };
  const away: number[] = [];
  for (let n = first; n <= last; n++) if (Math.abs(n - drawnAt) > half + reach) away.push(whole[n]!);
  for (let place = drawnAt - reach; place < drawnAt + reach; place++) {
    if (place - half < first || place + 1 + half > last) continue;
    const [here, next] = [place, place + 1].map((m) => at(m + half) - at(m - half)) as [number, number];
    if (!(here > 0 && next <= 0)) continue;
    const crossing = place + here / (here - next);
    let inside = 0;
    let samples = 0;
    for (let n = crossing - half; n <= crossing + half; n++, samples++) inside += at(n);
    if (inside / samples > best.inside) best = { place: crossing, inside: inside / samples };
  }
  const scatter = Math.sqrt(away.reduce((sum, v) => sum + v * v, 0) / Math.max(1, away.length));
  if (!(best.inside > 0) || (away.length > 8 && best.inside < LEAST_SHOWN * scatter * 0.3)) return null;
  return (best.place - drawnAt) * frame.step;
}

/** Shift of a profile against another of the same shape: least squares on the other, its slope, and a constant. */
function shiftAlong(
  profile: Float64Array,
  whole: Float64Array,
  [from, to]: readonly [number, number],
): { by: number; precision: number } | null {
  const s = new Float64Array(16);
  for (let n = Math.max(1, from); n < Math.min(to, whole.length - 1); n++) {
    const v = [1, whole[n]!, (whole[n + 1]! - whole[n - 1]!) / 2, profile[n]!];
    for (let a = 0; a < 4; a++) for (let b = 0; b < 4; b++) s[4 * a + b] = s[4 * a + b]! + v[a]! * v[b]!;
  }
  const count = s[0]!;
  const left = (a: number, b: number): number => s[4 * a + b]! - (s[a]! * s[b]!) / count;
  const own = left(1, 1);
  if (!(own > 0)) return null;
  const gain = left(1, 3) / own;
  const rest = (a: number, b: number): number => left(a, b) - (left(1, a) * left(1, b)) / own;
  const slopes = rest(2, 2);
  if (!(gain > 0) || !(slopes > 0)) return null;
  const variance = Math.max(1e-12, rest(3, 3) - rest(2, 3) ** 2 / slopes) / Math.max(1, count - 3);
  if (gain ** 2 * own < LEAST_SHOWN ** 2 * variance) return null;
  const by = -rest(2, 3) / slopes / gain;
  return { by, precision: (gain ** 2 * slopes) / variance };
}
