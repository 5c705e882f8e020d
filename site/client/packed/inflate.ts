import { PackedFault } from '../../../shared/packed/directory.ts';

/**
 * Inflates a zlib stream of known length, by the browser's own decoder; never holds more than that.
 * @throws PackedFault where it is longer or shorter, TypeError where it is damaged
 */
export async function inflate(bytes: Uint8Array, length: number): Promise<Uint8Array> {
  const stream = new Blob([bytes as Uint8Array<ArrayBuffer>])
    .stream()
    .pipeThrough(new DecompressionStream('deflate'));
  const out = new Uint8Array(length);
  let at = 0;
  const reader = stream.getReader();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    if (at + value.length > length) {
      await reader.cancel();
      throw new PackedFault('a tile that is longer than it should be');
    }
    out.set(value, at);
    at += value.length;
  }
  if (at !== length) throw new PackedFault('a tile that is shorter than it should be');
  return out;
}
