/** All state of a viewer in the fragment of its address, in die coordinates, so that a link survives a rebuild. */
export type Views = 'both' | 'image' | 'drawing';

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
}

/** A net by a point on it: numbers of nets change from build to build, places do not. */
export interface NetPlace {
  readonly layer: string;
  readonly xUm: number;
  readonly yUm: number;
}

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
  return state;
}
