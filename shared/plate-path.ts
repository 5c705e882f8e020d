/** Where plate n lies below its scan's folder. In a file of its own, so that a browser need not load the schemas. */

/** Descriptor of a plate from the pattern of plates.json: the lowest plate is 0000. */
export const platePath = (pattern: string, index: number): string =>
  pattern.replace('{index}', String(index).padStart(4, '0'));

/** What a grey of plate n means: unit, and the values shown as black and white. */
export const plateGrey = (
  grey: {
    readonly unit: string;
    readonly windows: readonly { readonly black: number; readonly white: number }[];
  },
  index: number,
): { unit: string; black: number; white: number } => ({ unit: grey.unit, ...grey.windows[index]! });
