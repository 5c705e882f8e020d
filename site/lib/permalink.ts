/** All state of a viewer in the fragment of its address, in die coordinates, so that a link survives a rebuild. */
export type Views = 'both' | 'image' | 'drawing' | 'wipe' | 'blend' | 'blink' | 'solid';

/** Greys shown as black and as white, 0 to 255, or fitted to what is in view. */
export type Levels = 'auto' | readonly [black: number, white: number];

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
  /** What stands beside the image instead of the drawing: another scan. */
  readonly against?: string | undefined;
  /** Place of the wipe, or strength of the blend, 0 to 1. */
  readonly mix?: number | undefined;
  readonly levels?: Levels | undefined;
  /** The overview is put away. */
  readonly noMap?: boolean | undefined;
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

const OWN_KEYS = new Set(['z', 'x', 'y', 'w', 'show', 'finding', 'net', 'against', 'mix', 'grey', 'map']);
/** Longer addresses are cut by mail programs and chats. */
const LONGEST_EXTRA = 2000;

const isExtra = (key: string, text: string): boolean =>
  /^[a-z]{2,16}$/.test(key) && !OWN_KEYS.has(key) && text !== '' && text.length <= LONGEST_EXTRA;

export const VIEWS: readonly Views[] = ['both', 'image', 'drawing', 'wipe', 'blend', 'blink', 'solid'];

/** Four decimals are a tenth of a nanometre: below any voxel. */
const shortest = (value: number): string => String(Number(value.toFixed(4)));

export function encodeState(state: ViewState): string {
  const parts = [
    `z=${shortest(state.zUm)}`,
    `x=${shortest(state.xUm)}`,
    `y=${shortest(state.yUm)}`,
    `w=${shortest(state.widthUm)}`,
    `show=${state.views}`,
    ...(state.against ? [`against=${encodeURIComponent(state.against)}`] : []),
    ...(state.mix !== undefined ? [`mix=${Number(state.mix.toFixed(2))}`] : []),
    ...(state.levels ? [`grey=${state.levels === 'auto' ? 'auto' : state.levels.join('-')}`] : []),
    ...(state.noMap ? ['map=off'] : []),
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

function parseLevels(text: string | null): Levels | null {
  if (text === 'auto') return 'auto';
  const parts = /^(\d{1,3})-(\d{1,3})$/.exec(text ?? '');
  if (!parts) return null;
  const [black, white] = [Number(parts[1]), Number(parts[2])];
  return black < white && white <= 255 ? [black, white] : null;
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
  const against = fields.get('against');
  if (against !== null && /^[a-z0-9-]+$/.test(against)) state.against = against;
  const mix = number('mix');
  if (mix !== undefined && mix >= 0 && mix <= 1) state.mix = mix;
  const levels = parseLevels(fields.get('grey'));
  if (levels) state.levels = levels;
  if (fields.get('map') === 'off') state.noMap = true;
  const finding = fields.get('finding');
  if (finding !== null && /^F\d{4,}$/.test(finding)) state.finding = finding;
  const net = parseNet(fields.get('net'));
  if (net) state.net = net;
  const extras = [...fields].filter(([key, text]) => isExtra(key, text));
  if (extras.length > 0) state.extras = Object.fromEntries(extras);
  return state;
}
