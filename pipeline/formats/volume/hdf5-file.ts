/** One HDF5 file, asked through a thread of its own that is ended when it crashes or makes no headway. */
import { Worker } from 'node:worker_threads';
import { InputFault, type InputTag } from '../../../shared/errors.ts';
import {
  type Hdf5Answer,
  type Hdf5Calls,
  type Hdf5Request,
  type Hdf5ThreadData,
  PROGRESS,
} from './hdf5-protocol.ts';

type Call = keyof Hdf5Calls;

/** Computing for so long without any read of the file, the library goes in circles: structure takes microseconds. */
const STILL_MS = 1000;
/** No time at which a thread is asked how much it has computed. */
const QUIET_MS = 200;
/** Whatever it computes, it has been still for too long. */
const MOST_STILL_MS = 60_000;
/** Starting of the thread, which may have to wait for a busy machine. */
const START_MS = 20_000;
/** Bytes that the slowest filter unpacks in a millisecond, on a slow and busy machine. */
const UNPACKED_PER_MS = 20_000;
const TICK_MS = 50;
const CLOSED = 'read from a volume that was closed';
const FOR_EVER = 'data on which the HDF5 library runs for ever';
const PAGE = 65536;
/** The library itself and the reading of structure; a forged length gets no further. */
const MEMORY_BYTES = 192 * 2 ** 20;

interface Waiting {
  readonly resolve: (value: unknown) => void;
  readonly reject: (reason: unknown) => void;
}

/** Kept for the next file. */
let compiled: WebAssembly.Module | null = null;

export class Hdf5File {
  readonly path: string;
  readonly name: string;
  readonly #worker: Worker;
  readonly #progress: Int32Array;
  #waiting: Waiting | null = null;
  #last: Promise<unknown> = Promise.resolve();
  #gone: InputFault | null = null;
  #closed = false;

  private constructor(path: string, name: string) {
    this.path = path;
    this.name = name;
    const progress = new SharedArrayBuffer(4 * PROGRESS.words);
    this.#progress = new Int32Array(progress);
    this.allowMemory(MEMORY_BYTES);
    const data: Hdf5ThreadData = { file: path, progress, compiled };
    this.#worker = new Worker(new URL('./hdf5-thread.ts', import.meta.url), {
      workerData: data,
      // Flags of the main thread, such as a debugger's, are none of its business.
      execArgv: [],
      resourceLimits: { maxOldGenerationSizeMb: 256 },
    });
    this.#worker.on('message', (answer: Hdf5Answer) => this.#take(answer));
    this.#worker.on('error', (error) => this.#end(`the HDF5 library ended: ${error.message}`, error));
    this.#worker.on('exit', () => this.#end('the HDF5 library ended'));
  }

  /** @throws InputFault for what the library does not take for an HDF5 file. */
  static async open(path: string, name: string): Promise<Hdf5File> {
    const file = new Hdf5File(path, name);
    try {
      compiled = (await file.#expect(START_MS)) as WebAssembly.Module | null;
      await file.call('open', []);
      return file;
    } catch (error) {
      await file.close();
      const found =
        error instanceof InputFault ? error.fields.found : error instanceof Hdf5Refusal && error.message;
      if (!found) throw error;
      const remedy = 'Check that the file is an HDF5 file and was copied whole.';
      throw file.fault('malformed', { expected: 'an HDF5 file', found, remedy });
    }
  }

  /** Lets the library take as much memory, and a little beyond for itself. */
  allowMemory(bytes: number): void {
    const pages = Math.ceil(Math.max(MEMORY_BYTES, bytes) / PAGE);
    Atomics.store(this.#progress, PROGRESS.mostPages, pages);
  }

  /**
   * Calls the library; calls follow each other.
   * @param bytes most bytes that are unpacked between two reads of the file
   * @throws InputFault when the file cannot be read there
   */
  call<C extends Call>(
    call: C,
    args: Parameters<Hdf5Calls[C]>,
    bytes = 0,
  ): Promise<ReturnType<Hdf5Calls[C]>> {
    const result = this.#last.then(async () => {
      if (this.#closed) throw new Error(CLOSED);
      if (this.#gone) throw this.#gone;
      const answer = this.#expect(STILL_MS + bytes / UNPACKED_PER_MS);
      this.#worker.postMessage({ call, args } satisfies Hdf5Request);
      try {
        return (await answer) as ReturnType<Hdf5Calls[C]>;
      } catch (error) {
        if (!(error instanceof Hdf5Refusal)) throw error;
        const [path] = args as readonly unknown[];
        throw this.#damaged(error.message, typeof path === 'string' ? path : undefined);
      }
    });
    this.#last = result.catch(() => {});
    return result;
  }

  fault(
    tag: InputTag,
    rest: { readonly expected: string; readonly found: string; readonly remedy: string },
    dataset?: string,
  ): InputFault {
    const place = dataset === undefined ? {} : { place: `"${dataset}"` };
    return new InputFault({ tag, file: this.name, ...place, ...rest });
  }

  async close(): Promise<void> {
    this.#closed = true;
    this.#gone ??= this.#damaged('the end of reading');
    this.#waiting?.reject(new Error(CLOSED));
    await this.#worker.terminate();
  }

  #damaged(found: string, place?: string): InputFault {
    if (found.includes('external raw data file')) {
      const expected = 'a dataset that holds its own values';
      const remedy = 'Copy it into a dataset of its own, for example with h5repack or h5py.';
      const outside = 'one whose values lie in another file, which is not followed';
      return this.fault('unsupported', { expected, found: outside, remedy }, place);
    }
    const remedy = 'The file is damaged: copy it again from where it was made.';
    return this.fault('malformed', { expected: 'readable HDF5 data', found, remedy }, place);
  }

  #expect(stillMs: number): Promise<unknown> {
    this.#worker.ref();
    const endWatch = this.#watch(stillMs);
    return new Promise<unknown>((resolve, reject) => {
      this.#waiting = { resolve, reject };
    }).finally(() => {
      endWatch();
      this.#waiting = null;
      if (!this.#closed) this.#worker.unref();
    });
  }

  /** Ends the thread once it has computed for so long without a read of the file or an answer. */
  #watch(stillMs: number): () => void {
    const progress = this.#progress;
    const reads = () => Atomics.load(progress, PROGRESS.reads);
    const answers = Atomics.load(progress, PROGRESS.answers);
    let seen = reads();
    let since = performance.now();
    let cpuBefore: number | null = null;
    let isAsked = false;
    const look = async (): Promise<void> => {
      const isAnswered = Atomics.load(progress, PROGRESS.answers) !== answers;
      const isMoving = reads() !== seen || Atomics.load(progress, PROGRESS.isReading) === 1;
      if (isAnswered || isMoving) {
        seen = reads();
        since = performance.now();
        cpuBefore = null;
        return;
      }
      const still = performance.now() - since;
      if (still > MOST_STILL_MS) this.#end(FOR_EVER);
      if (still < QUIET_MS || isAsked) return;
      isAsked = true;
      // On a busy machine time passes for a thread that may not run; only its own counts.
      const { user, system } = await this.#worker.cpuUsage();
      isAsked = false;
      const cpu = (user + system) / 1000;
      if (reads() !== seen) return;
      cpuBefore ??= cpu - still;
      if (cpu - cpuBefore > stillMs) this.#end(FOR_EVER);
    };
    const timer = setInterval(() => {
      // A thread that has ended has no time to tell.
      look().catch(() => {});
    }, TICK_MS);
    // The thread keeps the process alive while something is awaited; the watch alone must not.
    timer.unref();
    return () => clearInterval(timer);
  }

  #take(answer: Hdf5Answer): void {
    const waiting = this.#waiting;
    if (answer.ok) waiting?.resolve(answer.value);
    else if (answer.dead) this.#end(answer.text);
    else waiting?.reject(new Hdf5Refusal(answer.text));
  }

  /** The library is of no more use. */
  #end(found: string, cause?: unknown): void {
    if (this.#gone) return;
    this.#gone = this.#damaged(found);
    this.#waiting?.reject(new Hdf5Refusal(found, { cause }));
    void this.#worker.terminate();
  }
}

/** The library's own words, before they are put into a fault. */
class Hdf5Refusal extends Error {}
