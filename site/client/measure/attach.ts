/** Measuring in a viewer: nothing is loaded before its panel is opened, or a link brings readings along. */
import { parseState } from '../../lib/permalink.ts';
import type { SidePanels } from '../side-panels.ts';
import type { ViewerHost } from '../viewer-host.ts';

/** The key under which readings stand in the address. */
export const ADDRESS_KEY = 'measured';

export function attachMeasuring(host: ViewerHost, sides: SidePanels): void {
  const section = host.element.querySelector<HTMLElement>('[data-side="measure"]');
  if (!section) return;
  let opening: Promise<unknown> | null = null;
  // A tool chosen before there is somebody to hear it is taken up as soon as there is.
  let asked: HTMLButtonElement | null = null;
  section.addEventListener('click', (event) => {
    if (section.dataset.ready !== undefined) return;
    asked = (event.target as Element).closest<HTMLButtonElement>('[data-tool]');
    if (asked)
      section.querySelector('[data-m="ask"]')!.textContent = `${asked.textContent}: being made ready.`;
  });
  const open = (): Promise<unknown> => {
    opening ??= import('./measure-panel.ts')
      .then(({ MeasurePanel }) => MeasurePanel.open(host, sides, section))
      .then(() => asked?.click());
    opening.catch(() => {
      opening = null;
      section.querySelector('[data-m="trouble"]')!.textContent =
        'Measuring could not be loaded. Close and open this panel to try again.';
    });
    return opening;
  };
  sides.onToggle(() => {
    if (sides.open === 'measure') void open();
  });
  if (parseState(location.hash).extras?.[ADDRESS_KEY]) {
    sides.show('measure');
  }
}
