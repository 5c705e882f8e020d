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
  /** Which pages of which files hold which planes, as far as it is stated. */
  readonly planes: readonly OmePlanes[];
  /** File that holds the real description, where this one only points to it. */
  readonly companion: string | null;
}

/** One TiffData element. */
export interface OmePlanes {
  readonly firstZ: number;
  readonly firstC: number;
  readonly firstT: number;
  /** First page, from 0; null where it is not stated. */
  readonly page: number | null;
  /** Pages that follow each other; null where it is not stated. */
  readonly count: number | null;
  /** Name of the file; null for the one that holds the description. */
  readonly file: string | null;
}

/** A start tag longer than this is not looked at. */
const LONGEST_TAG = 64 * 1024;

/** Null when the description is not OME-XML. */
export function parseOmeDescription(text: string): OmeDescription | null {
  if (!/<(?:[\w.-]{1,32}:)?OME[\s>]/.test(text)) return null;
  const bare = withoutComments(text);
  const start = bare.search(/<(?:[\w.-]{1,32}:)?Pixels[\s/>]/);
  const companion = /<(?:[\w.-]{1,32}:)?BinaryOnly\s[^>]{0,1000}?MetadataFile\s*=\s*"([^"]{1,1000})"/.exec(
    bare,
  );
  if (start < 0) {
    if (!companion) return null;
    const none = { sizeZ: 1, sizeC: 1, sizeT: 1, attributes: new Map<string, string>(), planes: [] };
    return { ...none, companion: unescapeXml(companion[1]) };
  }
  const attributes = attributesAt(bare, start);
  if (!attributes) return null;
  const count = (name: string): number => {
    const value = Number(attributes.get(name) ?? 1);
    return Number.isSafeInteger(value) && value > 0 ? value : 1;
  };
  const sizes = { sizeZ: count('SizeZ'), sizeC: count('SizeC'), sizeT: count('SizeT') };
  return { ...sizes, attributes, planes: planesAfter(bare, start), companion: null };
}

/** Attributes of the start tag at a place; null where there is no whole tag. */
function attributesAt(text: string, start: number): Map<string, string> | null {
  const tag = /<\S+((?:[^>"']|"[^"]*"|'[^']*')*)>/y.exec(text.slice(start, start + LONGEST_TAG));
  if (!tag) return null;
  const attributes = new Map<string, string>();
  for (const [, name, double, single] of tag[1].matchAll(/([\w:.-]+)\s*=\s*(?:"([^"]*)"|'([^']*)')/g)) {
    attributes.set(name, unescapeXml(double ?? single));
  }
  return attributes;
}

/** What stands in one TiffData element; more is not looked at. */
const LONGEST_ELEMENT = 4096;

function planesAfter(text: string, start: number): OmePlanes[] {
  const close = text.slice(start).search(/<\/(?:[\w.-]{1,32}:)?Pixels\s*>/);
  const inside = close < 0 ? text.slice(start) : text.slice(start, start + close);
  const places = [...inside.matchAll(/<(?:[\w.-]{1,32}:)?TiffData[\s/>]/g)].map(({ index }) => index);
  return places.map((at, n) => {
    const element = inside.slice(at, Math.min(places[n + 1] ?? inside.length, at + LONGEST_ELEMENT));
    const own = attributesAt(element, 0) ?? new Map<string, string>();
    const uuid = element.search(/<(?:[\w.-]{1,32}:)?UUID[\s>]/);
    const file = uuid < 0 ? undefined : attributesAt(element, uuid)?.get('FileName');
    const number = (name: string): number | null => {
      const value = Number(own.get(name) ?? Number.NaN);
      return Number.isSafeInteger(value) && value >= 0 ? value : null;
    };
    return {
      firstZ: number('FirstZ') ?? 0,
      firstC: number('FirstC') ?? 0,
      firstT: number('FirstT') ?? 0,
      page: number('IFD'),
      count: number('PlaneCount'),
      file: file ?? null,
    };
  });
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
