/** All state of a viewer in the fragment of its address, in die coordinates, so that a link survives a rebuild. */
export type Views = 'both' | 'image' | 'drawing';

/** What is kept for others than the views: panels and tools answer for it. */
export interface KeptParts {
  readonly finding?: string | null;
  readonly net?: NetPlace | null;
  /** By keys of their own, small letters only; an empty text takes one away. */
  readonly extras?: Readonly<Record<string, string>>;
}

export interface ViewState {
  /** Height of the plate, micrometres. */
  readonly zUm: number;
  /** Middle of the view, micrometres in the frame of the scan's plates. */
  readonly xUm: number;
  readonly yUm: number;
  /** Width of the view, micrometres. */
  readonly widthUm: number;
  readonly views: Views;
  /** Number of the finding that is open. */
  readonly finding?: string | undefined;
  /** A place on the net that is lit. */
  readonly net?: NetPlace | undefined;
  readonly extras?: Readonly<Record<string, string>> | undefined;
}

/** A net by a point on it: numbers of nets change from build to build, places do not. */
export interface NetPlace {
  readonly layer: string;
  readonly xUm: number;
  readonly yUm: number;
}

const OWN_KEYS = new Set(['z', 'x', 'y', 'w', 'show', 'finding', 'net']);
/** Longer addresses are cut by mail programs and chats. */
const LONGEST_EXTRA = 2000;

const isExtra = (key: string, text: string): boolean =>
  /^[a-z]{2,16}$/.test(key) && !OWN_KEYS.has(key) && text !== '' && text.length <= LONGEST_EXTRA;

const VIEWS: readonly Views[] = ['both', 'image', 'drawing'];

/** Four decimals are a tenth of a nanometre: below any voxel. */
const shortest = (value: number): string => String(Number(value.toFixed(4)));

export function encodeState(state: ViewState): string {
  const parts = [
    `z=${shortest(state.zUm)}`,
    `x=${shortest(state.xUm)}`,
    `y=${shortest(state.yUm)}`,
    `w=${shortest(state.widthUm)}`,
    `show=${state.views}`,
    ...(state.finding ? [`finding=${state.finding}`] : []),
    ...(state.net ? [`net=${encodeNet(state.net)}`] : []),
    ...Object.entries(state.extras ?? {})
      .filter(([key, text]) => isExtra(key, text))
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([key, text]) => `${key}=${encodeURIComponent(text)}`),
  ];
  return `#${parts.join('&')}`;
}

const encodeNet = ({ layer, xUm, yUm }: NetPlace): string =>
  `${encodeURIComponent(layer)}@${shortest(xUm)},${shortest(yUm)}`;

function parseNet(text: string | null): NetPlace | null {
  const parts = /^([^@]+)@(-?[\d.]+),(-?[\d.]+)$/.exec(text ?? '');
  if (!parts) return null;
  const [xUm, yUm] = [Number(parts[2]), Number(parts[3])];
  return Number.isFinite(xUm) && Number.isFinite(yUm) ? { layer: parts[1]!, xUm, yUm } : null;
}

/** Reads what is there and sound; a broken or missing part is left out, never guessed. */
export function parseState(fragment: string): Partial<ViewState> {
  const fields = new URLSearchParams(fragment.replace(/^#/, ''));
  const number = (key: string): number | undefined => {
    const text = fields.get(key);
    if (text === null || text.trim() === '') return undefined;
    const value = Number(text);
    return Number.isFinite(value) ? value : undefined;
  };
  const state: { -readonly [K in keyof ViewState]?: ViewState[K] } = {};
  const z = number('z');
  const x = number('x');
  const y = number('y');
  const w = number('w');
  if (z !== undefined) state.zUm = z;
  if (x !== undefined) state.xUm = x;
  if (y !== undefined) state.yUm = y;
  if (w !== undefined && w > 0) state.widthUm = w;
  const views = VIEWS.find((name) => name === fields.get('show'));
  if (views) state.views = views;
  const finding = fields.get('finding');
  if (finding !== null && /^F\d{4,}$/.test(finding)) state.finding = finding;
  const net = parseNet(fields.get('net'));
  if (net) state.net = net;
  const extras = [...fields].filter(([key, text]) => isExtra(key, text));
  if (extras.length > 0) state.extras = Object.fromEntries(extras);
  return state;
}
