/**
 * OME-XML in an ImageDescription: the attributes of the first Pixels element, which is all that a volume needs.
 * @source OME-TIFF specification and OME-XML schema 2016-06, element Pixels.
 */

export interface OmeDescription {
  readonly sizeZ: number;
  readonly sizeC: number;
  readonly sizeT: number;
  /** Attributes of Pixels, such as PhysicalSizeX and PhysicalSizeXUnit. */
  readonly attributes: ReadonlyMap<string, string>;
}

/** A start tag longer than this is not looked at. */
const LONGEST_TAG = 64 * 1024;

/** Null when the description is not OME-XML. */
export function parseOmeDescription(text: string): OmeDescription | null {
  if (!/<(?:[\w.-]{1,32}:)?OME[\s>]/.test(text)) return null;
  const bare = withoutComments(text);
  const start = bare.search(/<(?:[\w.-]{1,32}:)?Pixels[\s/>]/);
  if (start < 0) return null;
  const tag = /<\S+((?:[^>"']|"[^"]*"|'[^']*')*)>/y.exec(bare.slice(start, start + LONGEST_TAG));
  if (!tag) return null;
  const attributes = new Map<string, string>();
  for (const [, name, double, single] of tag[1].matchAll(/([\w:.-]+)\s*=\s*(?:"([^"]*)"|'([^']*)')/g)) {
    attributes.set(name, unescapeXml(double ?? single));
  }
  const count = (name: string): number => {
    const value = Number(attributes.get(name) ?? 1);
    return Number.isSafeInteger(value) && value > 0 ? value : 1;
  };
  return { sizeZ: count('SizeZ'), sizeC: count('SizeC'), sizeT: count('SizeT'), attributes };
}

function withoutComments(text: string): string {
  let bare = '';
  let from = 0;
  for (;;) {
    const open = text.indexOf('<!--', from);
    const close = open < 0 ? -1 : text.indexOf('-->', open + 4);
    if (close < 0) return bare + text.slice(from);
    bare += text.slice(from, open);
    from = close + 3;
  }
}

const ENTITIES: Readonly<Record<string, string>> = { amp: '&', lt: '<', gt: '>', quot: '"', apos: "'" };

function unescapeXml(text: string): string {
  return text.replace(/&(?:#x([0-9a-f]{1,6})|#(\d{1,7})|(\w{2,4}));/gi, (whole, hex, decimal, name) => {
    if (name) return ENTITIES[name] ?? whole;
    const code = hex ? Number.parseInt(hex, 16) : Number(decimal);
    return code <= 0x10ffff ? String.fromCodePoint(code) : whole;
  });
}
