/** Small reads of a TIFF file's structure: byte order, bounds, and one block kept so that a header costs one read. */
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';
import type { FileHandles } from './file-handles.ts';

const BLOCK_BYTES = 4096;

export class TiffFile {
  readonly path: string;
  readonly length: number;
  readonly #handles: FileHandles;
  #block = new Uint8Array(0);
  #blockAt = 0;

  private constructor(handles: FileHandles, path: string, length: number) {
    this.#handles = handles;
    this.path = path;
    this.length = length;
  }

  /** @throws InputFault when there is no such file or it may not be read. */
  static async open(handles: FileHandles, path: string): Promise<TiffFile> {
    return new TiffFile(handles, path, await handles.lengthOf(path));
  }

  /** The same file seen again later, its length known. */
  static known(handles: FileHandles, path: string, length: number): TiffFile {
    return new TiffFile(handles, path, length);
  }

  /**
   * `length` bytes from `at` on; nothing is allocated before the range is known to lie within the file.
   * @param what what is being read, for the message: "strip offsets"
   */
  async bytes(at: number, length: number, what: string, page: number | null): Promise<DataView> {
    if (at + length > this.length) {
      throw this.fault('truncated', page, at, {
        expected: `${what}, ${length} bytes`,
        found: `the end of the file at byte ${this.length}`,
        remedy: 'The file is cut off or damaged: copy it again from where it was made.',
      });
    }
    const inBlock = at >= this.#blockAt && at + length <= this.#blockAt + this.#block.length;
    if (!inBlock) {
      const block = new Uint8Array(Math.max(length, Math.min(BLOCK_BYTES, this.length - at)));
      await this.#handles.read(this.path, at, block);
      if (length > BLOCK_BYTES) return new DataView(block.buffer);
      this.#block = block;
      this.#blockAt = at;
    }
    return new DataView(this.#block.buffer, at - this.#blockAt, length);
  }

  /** A fault that names the file, the page (from 1) and the byte. */
  fault(
    tag: InputFaultFields['tag'],
    page: number | null,
    at: number | null,
    rest: Pick<InputFaultFields, 'expected' | 'found' | 'remedy'>,
    cause?: unknown,
  ): InputFault {
    const place = [page === null ? '' : `page ${page}`, at === null ? '' : `byte ${at}`]
      .filter(Boolean)
      .join(', ');
    const fields = { tag, file: this.#handles.nameOf(this.path), ...(place ? { place } : {}), ...rest };
    return new InputFault(fields, cause === undefined ? undefined : { cause });
  }
}
