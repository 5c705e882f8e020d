/** A figure as a list of marks on paper, in millimetres from the upper left corner, and its two written forms. Pure. */

export type Mark =
  | { readonly kind: 'picture'; readonly picture: number; readonly box: Box }
  /** Marks that end at the border of a box. */
  | { readonly kind: 'inside'; readonly box: Box; readonly marks: readonly Mark[] }
  | { readonly kind: 'box'; readonly box: Box; readonly fill: string | null; readonly stroke: Stroke | null }
  | {
      readonly kind: 'line';
      readonly points: readonly Point[];
      readonly closed: boolean;
      readonly stroke: Stroke;
    }
  | { readonly kind: 'ring'; readonly at: Point; readonly radius: number; readonly stroke: Stroke }
  | {
      readonly kind: 'words';
      readonly at: Point;
      readonly text: string;
      /** Height of the type, millimetres. */
      readonly size: number;
      readonly anchor: 'start' | 'middle' | 'end';
      readonly colour: string;
      readonly halo: string | null;
      readonly bold?: boolean;
    };

export type Point = readonly [number, number];
/** Left, top, width, height. */
export type Box = readonly [number, number, number, number];
export interface Stroke {
  readonly colour: string;
  readonly width: number;
  readonly dash: readonly number[];
}

export interface Figure {
  readonly width: number;
  readonly height: number;
  readonly title: string;
  readonly description: string;
  readonly marks: readonly Mark[];
}

export const PRINT_DPI = 300;
/** Width of a figure across a page. Common practice of journals, no source. */
export const PRINT_WIDTH_MM = 170;
export const pixelsOf = (mm: number, dpi = PRINT_DPI): number => Math.round((mm / 25.4) * dpi);

/** Lines no longer than fits: letters are about three fifths as wide as high, in whatever type the reader has. */
export function wrapped(text: string, widthMm: number, sizeMm: number): string[] {
  const most = Math.max(8, Math.floor(widthMm / (0.6 * sizeMm)));
  const lines: string[] = [];
  for (const word of text.split(/\s+/).filter(Boolean)) {
    const last = lines.at(-1);
    if (last !== undefined && last.length + word.length < most) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}

const FAMILY = 'IBM Plex Sans, Helvetica Neue, Arial, sans-serif';
const escaped = (text: string): string =>
  text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');
const n = (value: number): string => String(Number(value.toFixed(3)));

/** @param pictures addresses of the pictures, embedded */
export function svgOf(figure: Figure, pictures: readonly string[]): string {
  const size = `width="${n(figure.width)}mm" height="${n(figure.height)}mm"`;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" ${size} viewBox="0 0 ${n(figure.width)} ${n(figure.height)}" font-family="${FAMILY}">`,
    `<title>${escaped(figure.title)}</title>`,
    `<desc>${escaped(figure.description)}</desc>`,
    ...figure.marks.map((mark) => svgMark(mark, pictures)),
    '</svg>',
    '',
  ].join('\n');
}

const boxOf = ([x, y, w, h]: Box): string => `x="${n(x)}" y="${n(y)}" width="${n(w)}" height="${n(h)}"`;

const strokeOf = (stroke: Stroke | null): string =>
  stroke
    ? `stroke="${stroke.colour}" stroke-width="${n(stroke.width)}"${stroke.dash.length > 0 ? ` stroke-dasharray="${stroke.dash.map(n).join(' ')}"` : ''}`
    : 'stroke="none"';

function svgMark(mark: Mark, pictures: readonly string[]): string {
  switch (mark.kind) {
    case 'picture':
      return `<image ${boxOf(mark.box)} preserveAspectRatio="none" href="${pictures[mark.picture]}"/>`;
    case 'inside':
      return `<svg ${boxOf(mark.box)} viewBox="${mark.box.map(n).join(' ')}" overflow="hidden">${mark.marks.map((one) => svgMark(one, pictures)).join('')}</svg>`;
    case 'box':
      return `<rect ${boxOf(mark.box)} fill="${mark.fill ?? 'none'}" ${strokeOf(mark.stroke)}/>`;
    case 'line': {
      const name = mark.closed ? 'polygon' : 'polyline';
      const points = mark.points.map(([x, y]) => `${n(x)},${n(y)}`).join(' ');
      return `<${name} points="${points}" fill="none" stroke-linejoin="round" ${strokeOf(mark.stroke)}/>`;
    }
    case 'ring':
      return `<circle cx="${n(mark.at[0])}" cy="${n(mark.at[1])}" r="${n(mark.radius)}" fill="none" ${strokeOf(mark.stroke)}/>`;
    case 'words': {
      const halo = mark.halo
        ? ` paint-order="stroke" stroke="${mark.halo}" stroke-width="${n(mark.size / 4)}" stroke-linejoin="round"`
        : '';
      const weight = mark.bold ? ' font-weight="600"' : '';
      return `<text x="${n(mark.at[0])}" y="${n(mark.at[1])}" font-size="${n(mark.size)}" text-anchor="${mark.anchor}" fill="${mark.colour}"${weight}${halo}>${escaped(mark.text)}</text>`;
    }
  }
}

/** What a canvas must offer; a part of the browser's own. */
export type Brush = Pick<
  CanvasRenderingContext2D,
  | 'fillStyle'
  | 'strokeStyle'
  | 'lineWidth'
  | 'lineJoin'
  | 'font'
  | 'textAlign'
  | 'fillRect'
  | 'strokeRect'
  | 'beginPath'
  | 'moveTo'
  | 'lineTo'
  | 'closePath'
  | 'arc'
  | 'stroke'
  | 'setLineDash'
  | 'fillText'
  | 'strokeText'
  | 'drawImage'
  | 'save'
  | 'restore'
  | 'rect'
  | 'clip'
>;

/** Paints on a canvas whose unit is the millimetre already. */
export function paint(
  brush: Brush,
  figure: Pick<Figure, 'marks'>,
  pictures: readonly CanvasImageSource[],
): void {
  for (const mark of figure.marks) {
    if (mark.kind === 'picture') {
      brush.drawImage(pictures[mark.picture]!, ...mark.box);
      continue;
    }
    if (mark.kind === 'inside') {
      brush.save();
      brush.beginPath();
      brush.rect(...mark.box);
      brush.clip();
      paint(brush, mark, pictures);
      brush.restore();
      continue;
    }
    if (mark.kind === 'words') {
      brush.font = `${mark.bold ? 600 : 400} ${mark.size}px ${FAMILY}`;
      brush.textAlign = mark.anchor === 'middle' ? 'center' : mark.anchor;
      if (mark.halo) {
        use(brush, { colour: mark.halo, width: mark.size / 4, dash: [] });
        brush.strokeText(mark.text, ...mark.at);
      }
      brush.fillStyle = mark.colour;
      brush.fillText(mark.text, ...mark.at);
      continue;
    }
    if (mark.kind === 'box' && mark.fill) {
      brush.fillStyle = mark.fill;
      brush.fillRect(...mark.box);
    }
    if (!mark.stroke) continue;
    use(brush, mark.stroke);
    if (mark.kind === 'box') {
      brush.strokeRect(...mark.box);
      continue;
    }
    brush.beginPath();
    if (mark.kind === 'ring') brush.arc(mark.at[0], mark.at[1], mark.radius, 0, 2 * Math.PI);
    else {
      mark.points.forEach(([x, y], at) => {
        if (at === 0) brush.moveTo(x, y);
        else brush.lineTo(x, y);
      });
      if (mark.closed) brush.closePath();
    }
    brush.stroke();
  }
}

function use(brush: Brush, { colour, width, dash }: Stroke): void {
  brush.strokeStyle = colour;
  brush.lineWidth = width;
  brush.lineJoin = 'round';
  brush.setLineDash([...dash]);
}
