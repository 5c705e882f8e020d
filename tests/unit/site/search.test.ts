/** Names in shards: whatever is asked for is in a shard that is fetched, and no shard is large. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { matches, shardNames, shardsFor, wordsOf } from '../../../site/lib/name-shards.ts';

const listed = (shards: ReturnType<typeof shardNames>) =>
  shards.map(({ prefix, whole, more }, n) => ({ prefix, whole, more, file: String(n) }));

describe('names in shards', () => {
  it('are found by their parts and by the whole', () => {
    expect(wordsOf('U_Core/clk_div3')).toEqual(['u_core/clk_div3', 'u', 'core', 'clk', 'div3']);
    expect(matches('U_Core/clk_div3', 'clk')).toBe(true);
    expect(matches('U_Core/clk_div3', 'div3 core')).toBe(true);
    expect(matches('U_Core/clk_div3', 'u_core/c')).toBe(true);
    expect(matches('U_Core/clk_div3', 'lk')).toBe(false);
    expect(matches('x', ' ')).toBe(false);
  });

  it('stay small for a hundred thousand nets, and every one is reached through its shard', () => {
    const entries = Array.from({ length: 100_000 }, (_, n) => ({ name: `core/net_${n}` }));
    const shards = shardNames(entries, 1000);
    expect(Math.max(...shards.map((shard) => shard.entries.length))).toBeLessThanOrEqual(1000);
    for (const n of [0, 7, 4711, 99_999]) {
      // The page reads three files at most.
      const wanted = shardsFor(listed(shards), `core/net_${n}`).slice(0, 3);
      const found = wanted.flatMap(({ file }) => shards[Number(file)]!.entries).map((entry) => entry.name);
      expect(found).toContain(`core/net_${n}`);
    }
    // The word that all of them share is cut, and that is said.
    expect(shards.find((shard) => shard.prefix === 'net')?.more).toBe(99_000);
  });

  it('reach any name by any beginning of any of its words', () => {
    const name = fc.string({ unit: fc.constantFrom(...'ab_1é/𝒳'), minLength: 1, maxLength: 8 });
    fc.assert(
      fc.property(
        fc.uniqueArray(name, { minLength: 1, maxLength: 40 }),
        fc.nat(),
        fc.nat(),
        (names, which, cut) => {
          const shards = shardNames(
            names.map((one) => ({ name: one })),
            5,
          );
          const wanted = names[which % names.length]!;
          const words = wordsOf(wanted);
          const word = words[cut % words.length]!;
          const letters = [...word];
          const query = letters.slice(0, 1 + (cut % letters.length)).join('');
          const files = shardsFor(listed(shards), query);
          const cutOff = files.some((file) => file.more > 0);
          const found = files.flatMap(({ file }) => shards[Number(file)]!.entries);
          expect(cutOff || found.some((entry) => entry.name === wanted)).toBe(true);
          expect(matches(wanted, query)).toBe(true);
        },
      ),
    );
  });
});
