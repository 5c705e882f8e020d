/** Which views are shown, and how near: the buttons that both kinds of viewer share. */
import { VIEWS, type Views } from '../lib/permalink.ts';
import type { PictureView } from './picture-view.ts';

export const isViews = (value: unknown): value is Views =>
  typeof value === 'string' && (VIEWS as readonly string[]).includes(value);

/** The view that buttons act on: the first one that is visible. */
export const leading = (views: readonly PictureView[]): PictureView =>
  views.find((view) => !view.hidden) ?? views[0]!;

/** What the buttons of nearness act on. */
export type Nearness = Pick<PictureView, 'nearer' | 'farther' | 'showWhole'>;

export function attachControls(
  host: HTMLElement,
  lead: () => Nearness,
  onViews: (views: Views) => void,
): void {
  const act = (name: string, run: () => void): void =>
    host.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
  act('nearer', () => lead().nearer());
  act('farther', () => lead().farther());
  act('whole', () => lead().showWhole());
  for (const input of host.querySelectorAll<HTMLInputElement>('input[name="views"]')) {
    input.addEventListener('change', () => {
      if (input.checked && isViews(input.value)) onViews(input.value);
    });
  }
}

/** Shows one view or both; a view that was hidden catches up with the other. */
export function setViews(host: HTMLElement, views: readonly PictureView[], shown: Views): void {
  const lead = leading(views);
  const camera = lead.camera();
  // Views that were all hidden remember their place, not their scale.
  const umPerPx = lead.hidden ? null : lead.umPerPx();
  host.dataset.show = shown;
  for (const input of host.querySelectorAll<HTMLInputElement>('input[name="views"]')) {
    input.checked = input.value === shown;
  }
  for (const view of views) view.measure();
  // The same place at the same scale, however wide each view is now.
  for (const view of views) {
    if (view.hidden) continue;
    view.moveTo(umPerPx === null ? camera : { ...camera, widthUm: umPerPx * view.size.width });
  }
}
