/** At which size half, and nine in ten, of the planted edits are found. */

export interface SizeTrial {
  readonly size_um: number;
  readonly planted: number;
  readonly found: number;
}

/** Prior on the steepness, so that a clean step from none to all stays finite. */
const PRIOR = 0.02;

/**
 * Logistic curve in the logarithm of the size, by maximum likelihood (Newton's method).
 * @returns null where the trials do not tell: too few sizes, or no rise with the size, or a size beyond those tried
 */
export function sizesFound(trials: readonly SizeTrial[]): { half: number; nine_in_ten: number } | null {
  const sizes = [...new Set(trials.map((t) => t.size_um))].sort((a, b) => a - b);
  if (sizes.length < 2) return null;
  const middle = Math.log(sizes[sizes.length >> 1]!);
  let a = 0;
  let b = 1;
  for (let round = 0; round < 100; round++) {
    let [ga, gb, haa, hab, hbb] = [-PRIOR * a, -PRIOR * b, PRIOR, 0, PRIOR];
    for (const { size_um, planted, found } of trials) {
      const x = Math.log(size_um) - middle;
      const p = 1 / (1 + Math.exp(-(a + b * x)));
      const w = planted * p * (1 - p);
      ga += found - planted * p;
      gb += x * (found - planted * p);
      haa += w;
      hab += w * x;
      hbb += w * x * x;
    }
    const det = haa * hbb - hab * hab;
    if (!(det > 1e-12)) return null;
    const limit = (v: number): number => Math.min(Math.max(v, -2), 2);
    const [da, db] = [limit((ga * hbb - gb * hab) / det), limit((gb * haa - ga * hab) / det)];
    a += da;
    b += db;
    if (Math.abs(da) + Math.abs(db) < 1e-9) break;
  }
  if (!(b > 0)) return null;
  const at = (share: number): number => Math.exp(middle + (Math.log(share / (1 - share)) - a) / b);
  const [least, most] = [sizes[0]!, sizes.at(-1)!];
  const nine = at(0.9);
  if (nine > most) return null;
  return { half: Math.max(at(0.5), least), nine_in_ten: Math.max(nine, least) };
}
