/** Takes boxes out of rings, the parts that fall apart being rings of their own. */
import type { Box, FlatPolygon } from '../../../shared/polygon.ts';

/**
 * What of a ring lies outside a box. Exact for upright edges and whole numbers.
 * @param ring flat coordinates, closed implicitly, not crossing itself (touching is allowed)
 * @returns rings that share no area with the inside of the box nor with each other, together the rest of the ring
 */
export function ringOutsideBox(ring: FlatPolygon, [x0, y0, x1, y1]: Box): number[][] {
  const parts: number[][] = [];
  let rest: number[][] = [Array.from(ring)];
  // West, east, then what is south and north of the box in between: four parts of the plane, none overlapping.
  for (const [axis, limit, sign] of [
    [0, x0, 1],
    [0, x1, -1],
    [1, y0, 1],
    [1, y1, -1],
  ] as const) {
    parts.push(...rest.flatMap((part) => ringOnSide(part, axis, limit, sign)));
    rest = rest.flatMap((part) => ringOnSide(part, axis, limit, -sign as 1 | -1));
  }
  return parts;
}

interface Crossing {
  /** Place along the cut. */
  readonly at: number;
  /** How `at` changes towards the kept side: tells edges apart that meet on the cut. */
  readonly slope: number;
  readonly chain: number;
  readonly end: 'first' | 'last';
}

/**
 * The part of a ring on one side of an upright line: below `limit` along `axis` for sign 1, above for -1. Crossings are
 * paired in their order along the line, since the inside lies between the first and the second, the third and the
 * fourth. Corners on the line count as beyond it, so every crossing is a real one.
 */
function ringOnSide(ring: readonly number[], axis: 0 | 1, limit: number, sign: 1 | -1): number[][] {
  const count = ring.length / 2;
  const kept = (n: number) => sign * (ring[2 * n + axis]! - limit) < 0;
  const start = Array.from({ length: count }, (_, n) => n).find(
    (n) => kept(n) && !kept((n + count - 1) % count),
  );
  if (start === undefined) return count > 0 && kept(0) ? [[...ring]] : [];
  const chains: number[][] = [];
  const crossings: Crossing[] = [];
  const cross = (inside: number, outside: number, end: Crossing['end']): [number, number] => {
    const other = 1 - axis;
    const [a, b] = [ring[2 * inside + axis]!, ring[2 * outside + axis]!];
    const [p, q] = [ring[2 * inside + other]!, ring[2 * outside + other]!];
    const at = b === limit ? q : p === q ? p : p + ((limit - a) / (b - a)) * (q - p);
    crossings.push({ at, slope: (p - at) / Math.abs(a - limit), chain: chains.length - 1, end });
    return axis === 0 ? [limit, at] : [at, limit];
  };
  for (let step = 0; step < count; step++) {
    const n = (start + step) % count;
    if (!kept(n)) continue;
    const before = (n + count - 1) % count;
    const after = (n + 1) % count;
    if (!kept(before)) {
      chains.push([]);
      chains.at(-1)!.push(...cross(n, before, 'first'));
    }
    chains.at(-1)!.push(ring[2 * n]!, ring[2 * n + 1]!);
    if (!kept(after)) chains.at(-1)!.push(...cross(n, after, 'last'));
  }
  return joinChains(chains, crossings);
}

function joinChains(chains: readonly number[][], crossings: Crossing[]): number[][] {
  crossings.sort((a, b) => a.at - b.at || a.slope - b.slope || a.chain - b.chain);
  alternate(crossings);
  const key = ({ chain, end }: Pick<Crossing, 'chain' | 'end'>) => 2 * chain + (end === 'last' ? 1 : 0);
  const partner = new Map<number, Crossing>();
  for (let n = 0; n + 1 < crossings.length; n += 2) {
    partner.set(key(crossings[n]!), crossings[n + 1]!);
    partner.set(key(crossings[n + 1]!), crossings[n]!);
  }
  const used = new Set<number>();
  const rings: number[][] = [];
  for (let first = 0; first < chains.length; first++) {
    const ring: number[] = [];
    for (let chain = first; !used.has(chain); ) {
      used.add(chain);
      ring.push(...chains[chain]!);
      const next = partner.get(key({ chain, end: 'last' }))!;
      // Two ends of one kind meet only where the ring crosses itself: there the chain is closed on itself.
      chain = next.end === 'first' ? next.chain : chain;
    }
    if (ring.length >= 6) rings.push(withoutRepeats(ring));
  }
  return rings.filter((ring) => ring.length >= 6);
}

/**
 * Ways in and out take turns along a cut. Where two edges lie on each other (the slit that joins a hole to its rim), their
 * order is settled by that.
 */
function alternate(crossings: Crossing[]): void {
  for (let n = 1; n + 1 < crossings.length; n++) {
    const [before, here, next] = [crossings[n - 1]!, crossings[n]!, crossings[n + 1]!];
    if (here.end !== before.end || next.end === here.end) continue;
    if (here.at !== next.at || here.slope !== next.slope) continue;
    crossings[n] = next;
    crossings[n + 1] = here;
  }
}

function withoutRepeats(ring: readonly number[]): number[] {
  const points: number[] = [];
  for (let n = 0; n < ring.length; n += 2) {
    const m = n === 0 ? ring.length - 2 : n - 2;
    if (ring[n] !== ring[m] || ring[n + 1] !== ring[m + 1]) points.push(ring[n]!, ring[n + 1]!);
  }
  return points;
}
