/** Outlines over the pictures where something is withheld: an empty place says by itself neither that nor why. */
import { oncePerFrame } from './once-per-frame.ts';
import type { PictureView } from './picture-view.ts';
import type { ViewerHost } from './viewer-host.ts';

type Box = readonly [number, number, number, number];

/** Does nothing where the viewer's page names no such place (attribute data-withheld: boxes in die micrometres). */
export function showWithheld(host: Pick<ViewerHost, 'element' | 'parts'>): void {
  const boxes = JSON.parse(host.element.dataset.withheld ?? '[]') as Box[];
  if (boxes.length === 0) return;
  for (const { view } of host.parts) outline(view, boxes);
}

function outline(view: PictureView, boxes: readonly Box[]): void {
  const layer = document.createElement('div');
  layer.className = 'withheld-outlines';
  layer.setAttribute('aria-hidden', 'true');
  const parts = boxes.map((box) => {
    const part = document.createElement('div');
    const word = document.createElement('span');
    word.textContent = 'withheld';
    part.append(word);
    return { box, part };
  });
  layer.append(...parts.map(({ part }) => part));
  view.ground.append(layer);
  const place = oncePerFrame(() => {
    if (view.hidden) return;
    const [originX, originY] = view.pixelOf(0, 0);
    const scale = 1 / view.umPerPx();
    for (const {
      box: [x0, y0, x1, y1],
      part,
    } of parts) {
      part.style.width = `${((x1 - x0) * scale).toFixed(1)}px`;
      part.style.height = `${((y1 - y0) * scale).toFixed(1)}px`;
      part.style.transform = `translate(${(originX + x0 * scale).toFixed(1)}px, ${(originY - y1 * scale).toFixed(1)}px)`;
    }
  });
  view.onMove(place);
  new ResizeObserver(place).observe(view.ground);
  place();
}
