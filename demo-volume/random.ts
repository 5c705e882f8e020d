/**
 * Seeded random streams. Every consumer draws from a stream of its own name, so that adding a draw in one place
 * does not move all others, and the same seed gives the same bytes on any number of threads.
 */

export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Uniform in [low, high). */
  between(low: number, high: number): number;
  /** Integer in [0, n). */
  below(n: number): number;
  /** Standard normal deviate. @source Box and Muller, Ann. Math. Stat. 29, 610 (1958). */
  normal(): number;
  pick<T>(items: readonly T[]): T;
  shuffle<T>(items: readonly T[]): T[];
}

/** 32-bit hash of a string. @source Fowler, Noll and Vo, FNV-1a (IETF draft-eastlake-fnv). */
export function hashText(text: string): number {
  let hash = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) hash = Math.imul(hash ^ text.charCodeAt(i), 0x01000193);
  return hash >>> 0;
}

/** Mixes 32 bits so that neighbouring inputs give unrelated outputs (multiply and shift; common practice). */
export function mixBits(value: number): number {
  let x = value | 0;
  x = Math.imul(x ^ (x >>> 16), 0x45d9f3b);
  x = Math.imul(x ^ (x >>> 15), 0x2c1b3c6d);
  return (x ^ (x >>> 16)) >>> 0;
}

/** Next state of a 32-bit xorshift generator. @source Marsaglia, J. Stat. Softw. 8(14), 2003, triple (13, 17, 5). */
export function xorshift32(state: number): number {
  let x = state;
  x ^= x << 13;
  x ^= x >>> 17;
  x ^= x << 5;
  return x | 0;
}

/** The stream called `name` of a seed. */
export function randomStream(seed: number, name: string): Random {
  let a = mixBits(seed ^ hashText(name)) || 1;
  let b = mixBits(a ^ 0x9e3779b9) || 2;
  const next = (): number => {
    // Two xorshift states of different start are summed, which hides the linear structure of either alone.
    a = xorshift32(a);
    b = xorshift32(b ^ 0x6d2b79f5) || 1;
    return (a + Math.imul(b, 0x2545f491)) >>> 0;
  };
  for (let i = 0; i < 8; i++) next();
  const uniform = (): number => next() / 4294967296;
  const below = (n: number): number => Math.floor(uniform() * n);
  return {
    uniform,
    below,
    between: (low, high) => low + (high - low) * uniform(),
    normal: () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()),
    pick: (items) => {
      if (items.length === 0) throw new RangeError('pick from an empty list');
      return items[below(items.length)] as (typeof items)[number];
    },
    shuffle: (items) => {
      const out = [...items];
      for (let i = out.length - 1; i > 0; i--) {
        const j = below(i + 1);
        const held = out[i] as (typeof out)[number];
        out[i] = out[j] as (typeof out)[number];
        out[j] = held;
      }
      return out;
    },
  };
}
