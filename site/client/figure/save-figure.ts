/** What is on screen as a figure for print: pictures at 300 dpi, drawings, scale, layer, height, citation, licence. */
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import { platePath } from '../../../shared/plate-path.ts';
import { heightDecimals, layerWords } from '../../lib/depth.ts';
import {
  type Box,
  type Figure,
  type Mark,
  PRINT_DPI,
  PRINT_WIDTH_MM,
  paint,
  pixelsOf,
  svgOf,
  wrapped,
} from '../../lib/figure.ts';
import { formatUm } from '../../lib/numbers.ts';
import { withDensity } from '../../lib/png-density.ts';
import { chooseScaleBar } from '../../lib/scale-bar.ts';
import { saveBlob } from '../measure/files.ts';
import { fetchJson } from '../scan-data.ts';
import type { ViewerHost, ViewPart } from '../viewer-host.ts';
import { marksOfSvg } from './marks-of-svg.ts';
import { type PrintLayer, printPicture } from './print-picture.ts';

const GAP_MM = 4;
const TYPE_MM = 2.6;
const INK = '#24221e';
const PALE = '#eceae4';
const DARK = '#0b0c0e';

interface Laid {
  readonly marks: readonly Mark[];
  readonly height: number;
}

export async function saveFigure(host: ViewerHost, form: 'png' | 'svg'): Promise<void> {
  const pictures: HTMLCanvasElement[] = [];
  const figure = await layOut(host, pictures);
  const name = `${host.root.replace(/\/$/, '').split('/').at(-1)}-plate-${host.plate()}.${form}`;
  if (form === 'svg') {
    const text = svgOf(
      figure,
      pictures.map((one) => one.toDataURL('image/png')),
    );
    saveBlob(new Blob([text], { type: 'image/svg+xml' }), name);
    return;
  }
  const canvas = document.createElement('canvas');
  canvas.width = pixelsOf(figure.width);
  canvas.height = pixelsOf(figure.height);
  const context = canvas.getContext('2d')!;
  context.setTransform(canvas.width / figure.width, 0, 0, canvas.height / figure.height, 0, 0);
  paint(context, figure, pictures);
  const blob = await new Promise<Blob | null>((done) => canvas.toBlob(done, 'image/png'));
  if (!blob) throw new Error('this browser could not write so large a picture');
  const bytes = withDensity(new Uint8Array(await blob.arrayBuffer()), PRINT_DPI);
  saveBlob(new Blob([bytes], { type: 'image/png' }), name);
}

async function layOut(host: ViewerHost, pictures: HTMLCanvasElement[]): Promise<Figure> {
  const { element } = host;
  const shown = host.parts.filter((part) => !part.view.hidden);
  const over = ['wipe', 'blend', 'blink'].includes(element.dataset.show ?? '');
  // Pictures over each other stand side by side on paper: there each can be read.
  const each = (PRINT_WIDTH_MM - GAP_MM * (shown.length - 1)) / shown.length;
  const marks: Mark[] = [];
  let bottom = 0;
  for (const [n, part] of shown.entries()) {
    const laid = await layPane(host, part, n * (each + GAP_MM), each, pictures);
    marks.push(...laid.marks);
    bottom = Math.max(bottom, laid.height);
  }
  const strip = element.querySelector<HTMLElement>('.section-strip:not([hidden])');
  if (strip) {
    const laid = laySection(strip, bottom + GAP_MM, pictures);
    marks.push(...laid.marks);
    bottom += GAP_MM + laid.height;
  }
  const {
    figure: title = '',
    citation = '',
    licence = '',
  } = element.querySelector<HTMLElement>('[data-citation]')!.dataset;
  const lines = [
    ...wrapped(placeWords(host, title), PRINT_WIDTH_MM, TYPE_MM),
    ...wrapped(citation, PRINT_WIDTH_MM, TYPE_MM),
    ...(licence ? [`Licence: ${licence}`] : ['No licence is stated.']),
  ];
  lines.forEach((text, n) => {
    const at = [0, bottom + GAP_MM + TYPE_MM * (1 + 1.35 * n)] as const;
    marks.push({
      kind: 'words',
      at,
      text,
      size: TYPE_MM,
      anchor: 'start',
      colour: INK,
      halo: null,
      bold: n === 0,
    });
  });
  const height = bottom + GAP_MM + TYPE_MM * (0.6 + 1.35 * lines.length);
  const paper: Mark = { kind: 'box', box: [0, 0, PRINT_WIDTH_MM, height], fill: '#ffffff', stroke: null };
  return {
    ...{ width: PRINT_WIDTH_MM, height, title: lines[0]!, marks: [paper, ...marks] },
    description: [
      ...lines.slice(1),
      ...(over ? ['Pictures that lay over each other on screen stand side by side.'] : []),
    ].join(' '),
  };
}

function placeWords(host: ViewerHost, title: string): string {
  const { plates, layers } = host;
  const index = host.plate();
  const layer = layerWords(layers.plates[index]);
  const z = formatUm(plates.z_um[index]!, heightDecimals(plates.step_um));
  const deep = plates.z_um.length > 1 ? `${layer ? `${layer}, ` : ''}z = ${z}, plate ${index}` : '';
  const { xUm, yUm } = host.camera();
  return [title, deep, `Middle at X ${formatUm(xUm, 2)}, Y ${formatUm(yUm, 2)} (${plates.frame} coordinates)`]
    .filter(Boolean)
    .join('. ');
}

async function layPane(
  host: ViewerHost,
  part: ViewPart,
  left: number,
  width: number,
  pictures: HTMLCanvasElement[],
): Promise<Laid> {
  const { view, pane } = part;
  const { clientWidth, clientHeight } = view.ground;
  const mmPerPx = width / clientWidth;
  const top = TYPE_MM * 1.6;
  const box: Box = [left, top, width, clientHeight * mmPerPx];
  const place = (x: number, y: number) => [left + x * mmPerPx, top + y * mmPerPx] as const;
  const canvas = document.createElement('canvas');
  canvas.width = pixelsOf(box[2]);
  canvas.height = pixelsOf(box[3]);
  const layers = await layersOf(host, pane);
  if (layers) await printPicture(canvas, host.root, view.grid, view.camera(), layers, levelsOf(host, pane));
  else copyScreen(canvas, view.ground.querySelector<HTMLCanvasElement>('.engine canvas')!);
  const net = view.ground.querySelector<HTMLCanvasElement>('.net-overlay:not([hidden])');
  if (net) canvas.getContext('2d')!.drawImage(net, 0, 0, canvas.width, canvas.height);
  const name = [
    pane.querySelector('.pane-title')?.textContent,
    pane.querySelector('[data-note]')?.textContent,
  ]
    .filter(Boolean)
    .join(': ');
  const bar = chooseScaleBar(view.umPerPx(), clientWidth * 0.3);
  const [right, low] = place(clientWidth - 12, clientHeight - 12);
  const long = bar.px * mmPerPx;
  const words = { size: TYPE_MM, halo: null } as const;
  const number = pictures.push(canvas) - 1;
  return {
    height: box[1] + box[3],
    marks: [
      { kind: 'words', at: [left, TYPE_MM], text: name, anchor: 'start', colour: INK, ...words },
      { kind: 'picture', picture: number, box },
      {
        ...{ kind: 'inside', box },
        marks: [
          ...[...view.ground.querySelectorAll('.graticule, .measure-overlay')].flatMap((svg) =>
            marksOfSvg(svg, place, mmPerPx),
          ),
          ...findingsOf(view.ground, place, mmPerPx),
        ],
      },
      { kind: 'box', box: [right - long - 1.5, low - 4.6, long + 3, 5.4], fill: DARK, stroke: null },
      { kind: 'box', box: [right - long, low - 0.7, long, 0.7], fill: PALE, stroke: null },
      {
        kind: 'words',
        at: [right - long / 2, low - 1.6],
        text: bar.label,
        anchor: 'middle',
        colour: PALE,
        ...words,
      },
    ],
  };
}

/** null for a picture of another scan, whose tiles are not ours to find. */
async function layersOf(host: ViewerHost, pane: HTMLElement): Promise<PrintLayer[] | null> {
  const { plates } = host;
  if (pane.dataset.view === 'image')
    return [{ path: platePath(plates.path, host.plate()), tiles: plates.tiles, opacity: 1, tint: null }];
  if (pane.dataset.view !== 'drawing') return null;
  const pictures = await fetchJson<Pictures>(`${host.root}pictures.json`);
  return host.presentLayers().flatMap(({ name, share }): PrintLayer[] => {
    const render = pictures.layers.find((layer) => layer.name === name)?.render;
    const tint = host.colours[name] ?? '#ffffff';
    return render ? [{ path: render.path, tiles: pictures.render_tiles, opacity: share, tint }] : [];
  });
}

/** Greys as a reader set them. */
function levelsOf(host: ViewerHost, pane: HTMLElement): { slope: number; intercept: number } | null {
  if (pane.dataset.view === 'drawing' || !pane.closest('.levelled')) return null;
  const part = host.element.querySelector('#grey-levels feFuncR');
  if (!part) return null;
  return { slope: Number(part.getAttribute('slope')), intercept: Number(part.getAttribute('intercept')) };
}

function copyScreen(canvas: HTMLCanvasElement, screen: HTMLCanvasElement): void {
  canvas.getContext('2d')!.drawImage(screen, 0, 0, canvas.width, canvas.height);
}

function findingsOf(
  ground: HTMLElement,
  place: (x: number, y: number) => readonly [number, number],
  mmPerPx: number,
): Mark[] {
  const origin = ground.getBoundingClientRect();
  return [...ground.querySelectorAll<HTMLElement>('.finding-mark:not([hidden])')].map((mark): Mark => {
    const box = mark.getBoundingClientRect();
    const [x, y] = place(box.left - origin.left, box.top - origin.top);
    const stroke = { colour: getComputedStyle(mark).borderTopColor, width: 2 * mmPerPx, dash: [] };
    return { kind: 'box', box: [x, y, box.width * mmPerPx, box.height * mmPerPx], fill: null, stroke };
  });
}

function laySection(strip: HTMLElement, top: number, pictures: HTMLCanvasElement[]): Laid {
  const ground = strip.querySelector<HTMLElement>('.section-ground')!;
  const screen = ground.querySelector('canvas')!;
  const mmPerPx = PRINT_WIDTH_MM / ground.clientWidth;
  const upper = top + TYPE_MM * 1.6;
  const place = (x: number, y: number) => [x * mmPerPx, upper + y * mmPerPx] as const;
  const canvas = document.createElement('canvas');
  const box: Box = [0, upper, PRINT_WIDTH_MM, ground.clientHeight * mmPerPx];
  canvas.width = pixelsOf(box[2]);
  canvas.height = pixelsOf(box[3]);
  const context = canvas.getContext('2d')!;
  context.fillStyle = DARK;
  context.fillRect(0, 0, canvas.width, canvas.height);
  copyScreen(canvas, screen);
  const picture = pictures.push(canvas) - 1;
  const words = [...strip.querySelectorAll('[data-s="words"], [data-s="scale"]')]
    .map((one) => one.textContent)
    .join(', ');
  return {
    height: upper - top + box[3],
    marks: [
      {
        ...{ kind: 'words', at: [0, top + TYPE_MM], text: `Section: ${words}`, size: TYPE_MM },
        ...{ anchor: 'start', colour: INK, halo: null },
      },
      { kind: 'picture', picture, box },
      ...[...ground.querySelectorAll('.section-axes, .measure-overlay')].flatMap((svg) =>
        marksOfSvg(svg, place, mmPerPx),
      ),
    ],
  };
}
