/**
 * Pieces of one file by byte ranges. Pieces that are asked for at about the same time and lie near each other come in one
 * answer. A host that ignores ranges sends the whole file: that is kept, and all else is cut from it.
 * @source RFC 9110, 14 "Range Requests": a server may answer 200 with everything.
 */

/** Directories and the coarsest level of most plates. */
const FRONT_BYTES = 48 * 1024;
/** Bytes between two pieces that are sooner fetched than left out by a second request. */
const GAP_BYTES = 16 * 1024;
const MOST_BYTES = 1024 * 1024;
/** How long a request waits for others to join it: engines ask for tiles frame by frame. */
const JOIN_MS = 20;

interface Piece {
  readonly from: number;
  readonly to: number;
  readonly signal: AbortSignal | undefined;
  readonly resolve: (bytes: Uint8Array) => void;
  readonly reject: (error: unknown) => void;
}

export class ByteRanges {
  readonly #address: string;
  readonly #onWholeFile: () => void;
  #front: Promise<Uint8Array> | null = null;
  /** From the beginning of the file on. */
  #held: Uint8Array = new Uint8Array(0);
  #waiting: Piece[] = [];

  constructor(address: string, onWholeFile: () => void) {
    this.#address = address;
    this.#onWholeFile = onWholeFile;
  }

  /** Bytes from the beginning on, at least as many as are needed where the file has them. */
  async front(need = 1): Promise<Uint8Array> {
    this.#front ??= this.#fetch(0, FRONT_BYTES).catch((error) => {
      this.#front = null;
      throw error;
    });
    await this.#front;
    if (this.#held.length < need) {
      const more = await this.#fetch(this.#held.length, need);
      if (more.length === 0 || this.#held.length < need) {
        const joined = new Uint8Array(this.#held.length + more.length);
        joined.set(this.#held);
        joined.set(more, this.#held.length);
        this.#held = joined;
      }
    }
    return this.#held;
  }

  /** @throws Error where the file is shorter, or the answer something else than was asked for */
  async read(from: number, to: number, signal?: AbortSignal): Promise<Uint8Array> {
    if (to <= this.#held.length) return this.#held.subarray(from, to);
    return new Promise((resolve, reject) => {
      if (this.#waiting.length === 0) setTimeout(() => this.#flush(), JOIN_MS);
      this.#waiting.push({ from, to, signal, resolve, reject });
    });
  }

  #flush(): void {
    const pieces = this.#waiting.filter(({ signal }) => !signal?.aborted).sort((a, b) => a.from - b.from);
    for (const { signal, reject } of this.#waiting) if (signal?.aborted) reject(signal.reason);
    this.#waiting = [];
    for (let n = 0; n < pieces.length; ) {
      const group = [pieces[n++]!];
      let to = group[0]!.to;
      while (n < pieces.length) {
        const next = pieces[n]!;
        if (next.from > to + GAP_BYTES || next.to - group[0]!.from > MOST_BYTES) break;
        group.push(next);
        to = Math.max(to, next.to);
        n++;
      }
      this.#fetchGroup(group, group[0]!.from, to);
    }
  }

  async #fetchGroup(group: readonly Piece[], from: number, to: number): Promise<void> {
    // Given up only once nobody waits for any of it.
    const control = new AbortController();
    const leave = (): void => {
      if (group.every(({ signal }) => signal?.aborted)) control.abort();
    };
    for (const { signal } of group) signal?.addEventListener('abort', leave);
    try {
      const bytes = await this.#fetch(from, to, control.signal);
      for (const piece of group) {
        const part = bytes.subarray(piece.from - from, piece.to - from);
        if (part.length === piece.to - piece.from) piece.resolve(part);
        else piece.reject(new Error(`${this.#address} ends too early`));
      }
    } catch (error) {
      for (const { reject } of group) reject(error);
    } finally {
      for (const { signal } of group) signal?.removeEventListener('abort', leave);
    }
  }

  async #fetch(from: number, to: number, signal: AbortSignal | null = null): Promise<Uint8Array> {
    if (to <= this.#held.length) return this.#held.subarray(from, to);
    const headers = { Range: `bytes=${from}-${to - 1}` };
    const answer = await fetch(this.#address, { headers, signal });
    if (!answer.ok) throw new Error(`${this.#address}: ${answer.status}`);
    const bytes = new Uint8Array(await answer.arrayBuffer());
    if (answer.status !== 206) {
      this.#held = bytes;
      if (bytes.length > to) this.#onWholeFile();
      return bytes.subarray(from, to);
    }
    const start = /^bytes (\d+)-/.exec(answer.headers.get('Content-Range') ?? '')?.[1];
    if (Number(start ?? from) !== from || bytes.length > to - from)
      throw new Error(`${this.#address}: other bytes came than were asked for`);
    if (from === 0 && bytes.length > this.#held.length) this.#held = bytes;
    return bytes;
  }
}
