/** Checksums of many files, several at a time, without holding any of them. */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';

/** Reads that wait for the disk together; hashing itself runs on one core each. */
const AT_ONCE = 8;

/** Runs `work` over all items, a few at a time, results in their order. */
export async function severalAtOnce<T, R>(
  items: readonly T[],
  work: (item: T, n: number) => Promise<R>,
  atOnce = AT_ONCE,
): Promise<R[]> {
  const results = new Array<R>(items.length);
  let next = 0;
  const run = async () => {
    while (next < items.length) {
      const n = next++;
      results[n] = await work(items[n]!, n);
    }
  };
  await Promise.all(Array.from({ length: Math.min(atOnce, items.length) }, run));
  return results;
}

/** @returns bytes and the checksums asked for, in hexadecimal */
export async function hashFile<A extends string>(
  file: string,
  algorithms: readonly A[],
): Promise<{ bytes: number } & Record<A, string>> {
  const hashes = algorithms.map((algorithm) => createHash(algorithm));
  let bytes = 0;
  for await (const chunk of createReadStream(file, { highWaterMark: 1 << 20 })) {
    bytes += (chunk as Buffer).length;
    for (const hash of hashes) hash.update(chunk as Buffer);
  }
  const digests = Object.fromEntries(algorithms.map((name, n) => [name, hashes[n]!.digest('hex')]));
  return { bytes, ...digests } as { bytes: number } & Record<A, string>;
}
