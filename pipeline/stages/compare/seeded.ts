/** Numbers in [0, 1), the same for the same seed. @source xorshift32, Marsaglia, J. Stat. Softw. 8 (14), 2003 */
export function seeded(seed: number): () => number {
  let state = (Math.imul(seed, 0x9e3779b1) ^ 0x2545f491) | 0 || 1;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return (state >>> 0) / 2 ** 32;
  };
}
