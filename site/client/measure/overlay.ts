/** Readings drawn over one surface: paths, points, numbers, and the crosshair of the tool in hand. */
import type { PointUm, ReadingKind } from '../../lib/measuring/reading.ts';
import { oncePerFrame } from '../once-per-frame.ts';
import { make } from '../svg-element.ts';
import type { Stroke } from './found-edges.ts';
import type { Surface } from './surface.ts';

export interface DrawnReading {
  readonly kind: ReadingKind | 'section';
  readonly points: readonly PointUm[];
  /** Beside it: its number, and its value where there is room. */
  readonly label: string;
  readonly look: 'kept' | 'chosen' | 'elsewhere' | 'open';
  /** Edges that were found. */
  readonly edges?: readonly Stroke[];
}

export class MeasureOverlay {
  readonly #surface: Surface;
  readonly #svg: SVGElement;
  readonly #scene: () => { readings: readonly DrawnReading[]; cursor: PointUm | null };

  constructor(surface: Surface, scene: () => { readings: readonly DrawnReading[]; cursor: PointUm | null }) {
    this.#surface = surface;
    this.#scene = scene;
    this.#svg = make('svg', {
      class: 'measure-overlay',
      'aria-hidden': 'true',
      width: '100%',
      height: '100%',
    });
    surface.element.append(this.#svg);
    surface.onRedraw(() => this.refresh());
  }

  /** Draws once per frame, however often it is asked. */
  readonly refresh = oncePerFrame(() => this.#draw());

  #draw(): void {
    if (this.#surface.hidden()) return;
    const { readings, cursor } = this.#scene();
    const parts = readings.flatMap((one) => this.#drawOne(one));
    const at = cursor && this.#surface.place(cursor);
    if (at) {
      const [x, y] = at;
      parts.push(
        make('path', {
          class: 'crosshair',
          d: `M ${x - 16} ${y} h 11 m 10 0 h 11 M ${x} ${y - 16} v 11 m 0 10 v 11`,
        }),
      );
    }
    this.#svg.replaceChildren(...parts);
  }

  #drawOne({ kind, points, label, look, edges }: DrawnReading): SVGElement[] {
    const places = points.flatMap((point) => {
      const at = this.#surface.place(point);
      return at ? [at] : [];
    });
    if (places.length === 0 || places.length < points.length) return [];
    const group = make('g', { class: `reading ${look}` });
    const list = places.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`);
    if (kind === 'via' && places.length === 2) {
      const [a, b] = places as [readonly [number, number], readonly [number, number]];
      const box = { x: Math.min(a[0], b[0]), y: Math.min(a[1], b[1]) };
      const size = { width: Math.abs(a[0] - b[0]), height: Math.abs(a[1] - b[1]) };
      for (const layer of ['halo', 'stroke']) group.append(make('rect', { class: layer, ...box, ...size }));
    } else if (places.length > 1) {
      const name = kind === 'area' && look !== 'open' ? 'polygon' : 'polyline';
      for (const layer of ['halo', 'stroke'])
        group.append(make(name, { class: layer, points: list.join(' ') }));
    }
    for (const [x, y] of places) {
      group.append(make('circle', { class: 'halo', cx: x, cy: y, r: 3.5 }));
      group.append(make('circle', { class: 'stroke', cx: x, cy: y, r: 3.5 }));
    }
    for (const [from, to] of edges ?? []) {
      const [a, b] = [this.#surface.place(from), this.#surface.place(to)];
      if (!a || !b) continue;
      const ends = { x1: a[0], y1: a[1], x2: b[0], y2: b[1] };
      for (const layer of ['halo', 'stroke']) group.append(make('line', { class: `${layer} edge`, ...ends }));
    }
    // A section is named where it begins: readings, named where they end, often end where it does.
    const at = kind === 'section' ? places[0]! : places.at(-1)!;
    if (label) group.append(make('text', { x: at[0] + 8, y: at[1] - 6 }, label));
    return [group];
  }
}
