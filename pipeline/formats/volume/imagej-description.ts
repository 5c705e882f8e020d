/** The `ImageJ=` block of an ImageDescription: lines of key=value. */
import { unescapeUnicode } from './length-units.ts';

export interface ImageJDescription {
  /** Counts that the block states; 1 where it does not. */
  readonly images: number;
  readonly channels: number;
  readonly slices: number;
  readonly frames: number;
  /** Every key with its text. */
  readonly keys: ReadonlyMap<string, string>;
}

/** Null when the description is not such a block. */
export function parseImageJDescription(text: string): ImageJDescription | null {
  if (!text.startsWith('ImageJ=')) return null;
  const keys = new Map<string, string>();
  for (const line of text.split(/\r\n|\r|\n/)) {
    const cut = line.indexOf('=');
    if (cut > 0) keys.set(line.slice(0, cut).trim(), unescapeUnicode(line.slice(cut + 1).trim()));
  }
  const count = (key: string): number => {
    const value = Number(keys.get(key) ?? 1);
    return Number.isSafeInteger(value) && value > 0 ? value : 1;
  };
  return {
    images: count('images'),
    channels: count('channels'),
    slices: count('slices'),
    frames: count('frames'),
    keys,
  };
}
