/** Chunks unpacked lately, up to a number of bytes; a chunk asked for twice at a time is unpacked once. */
export class ChunkCache<T extends { readonly byteLength: number }> {
  /** In order of last use, oldest first. */
  readonly #chunks = new Map<string, T>();
  readonly #underWay = new Map<string, Promise<T>>();
  readonly #most: number;
  #bytes = 0;

  constructor(mostBytes: number) {
    this.#most = mostBytes;
  }

  async get(key: string, load: () => Promise<T>): Promise<T> {
    const known = this.#chunks.get(key);
    if (known) {
      this.#chunks.delete(key);
      this.#chunks.set(key, known);
      return known;
    }
    let loading = this.#underWay.get(key);
    if (!loading) {
      loading = load().finally(() => this.#underWay.delete(key));
      this.#underWay.set(key, loading);
      const chunk = await loading;
      this.#keep(key, chunk);
      return chunk;
    }
    return loading;
  }

  clear(): void {
    this.#chunks.clear();
    this.#bytes = 0;
  }

  #keep(key: string, chunk: T): void {
    if (chunk.byteLength > this.#most) return;
    this.#chunks.set(key, chunk);
    this.#bytes += chunk.byteLength;
    for (const [oldest, { byteLength }] of this.#chunks) {
      if (this.#bytes <= this.#most) break;
      this.#chunks.delete(oldest);
      this.#bytes -= byteLength;
    }
  }
}
