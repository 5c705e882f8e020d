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
  const open = (): Promise<unknown> => {
    opening ??= import('./measure-panel.ts').then(({ MeasurePanel }) =>
      MeasurePanel.open(host, sides, section),
    );
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
