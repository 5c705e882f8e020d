/** Compressed data that cannot be decoded. Decoders know no file names: their caller turns this into a fault. */
export class DamagedData extends Error {
  /** Byte within the compressed data, where known. */
  readonly at: number;

  constructor(message: string, at = 0) {
    super(message);
    this.name = 'DamagedData';
    this.at = at;
  }
}
