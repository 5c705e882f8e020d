/** Drawings that lie over a picture on screen, as marks on paper, with the looks they have on screen. */
import type { Mark, Point, Stroke } from '../../lib/figure.ts';

/** @param place from CSS pixels inside the drawing to millimetres @param mmPerPx size of a CSS pixel */
export function marksOfSvg(svg: Element, place: (x: number, y: number) => Point, mmPerPx: number): Mark[] {
  return [...svg.querySelectorAll('line, polyline, polygon, rect, circle, text')].flatMap((one): Mark[] => {
    const style = getComputedStyle(one);
    if (style.visibility === 'hidden' || style.display === 'none') return [];
    const number = (name: string): number => Number.parseFloat(one.getAttribute(name) ?? '0');
    const stroke = strokeOf(style, mmPerPx);
    switch (one.tagName) {
      case 'line': {
        const ends = [place(number('x1'), number('y1')), place(number('x2'), number('y2'))];
        return stroke ? [{ kind: 'line', points: ends, closed: false, stroke }] : [];
      }
      case 'polyline':
      case 'polygon': {
        const points = (one.getAttribute('points') ?? '')
          .trim()
          .split(/\s+/)
          .map((pair) => pair.split(',').map(Number) as [number, number])
          .map(([x, y]) => place(x, y));
        return stroke ? [{ kind: 'line', points, closed: one.tagName === 'polygon', stroke }] : [];
      }
      case 'rect': {
        const [x, y] = place(number('x'), number('y'));
        const fill = style.fill === 'none' ? null : style.fill;
        return [
          { kind: 'box', box: [x, y, number('width') * mmPerPx, number('height') * mmPerPx], fill, stroke },
        ];
      }
      case 'circle': {
        const at = place(number('cx'), number('cy'));
        return stroke ? [{ kind: 'ring', at, radius: number('r') * mmPerPx, stroke }] : [];
      }
      default: {
        const anchor = style.textAnchor as 'start' | 'middle' | 'end';
        const halo = style.stroke === 'none' ? null : style.stroke;
        const size = Number.parseFloat(style.fontSize) * mmPerPx;
        const at = place(number('x'), number('y'));
        return [{ kind: 'words', at, text: one.textContent ?? '', size, anchor, colour: style.fill, halo }];
      }
    }
  });
}

function strokeOf(style: CSSStyleDeclaration, mmPerPx: number): Stroke | null {
  if (style.stroke === 'none' || style.stroke === '') return null;
  const width = Number.parseFloat(style.strokeWidth) * mmPerPx;
  const dash =
    style.strokeDasharray === 'none'
      ? []
      : style.strokeDasharray.split(/[\s,]+/).map((part) => Number.parseFloat(part) * mmPerPx);
  return { colour: style.stroke, width, dash };
}
