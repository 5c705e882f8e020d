/** "Save figure" in a viewer: one press, one file; nothing is loaded before. */
import type { ViewerHost } from '../viewer-host.ts';

export function attachFigures(host: ViewerHost): void {
  for (const button of host.element.querySelectorAll<HTMLButtonElement>('button[data-figure]')) {
    button.addEventListener('click', async () => {
      button.disabled = true;
      try {
        const { saveFigure } = await import('./save-figure.ts');
        await saveFigure(host, button.dataset.figure === 'svg' ? 'svg' : 'png');
        host.announce('The figure is saved.');
      } catch (error) {
        host.announce(`The figure could not be saved: ${(error as Error).message}`);
      } finally {
        button.disabled = false;
        button.focus();
      }
    });
  }
}
