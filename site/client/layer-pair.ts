/** The page of one layer: its portrait beside its drawing, always on the same place. */
import type { Plates } from '../../shared/artefacts/plates.ts';
import { Graticule } from './graticule.ts';
import { nextTask } from './next-task.ts';
import { attachControls, leading, setViews } from './pane-controls.ts';
import { LinkedViews, PictureView } from './picture-view.ts';
import { PlateSwitch } from './plate-switch.ts';
import { Probe } from './probe.ts';
import { PyramidSource } from './pyramid-source.ts';
import { Readout } from './readout.ts';

class LayerPair extends HTMLElement {
  async connectedCallback(): Promise<void> {
    const { root = '', portrait, render, colour, grey } = this.dataset;
    const [plates, pictures] = await Promise.all([
      fetch(`${root}plates.json`).then((answer) => answer.json() as Promise<Plates>),
      fetch(`${root}pictures.json`).then((answer) => answer.json()),
    ]);
    const { grid } = plates;
    const map = grey ? JSON.parse(grey) : null;
    const views: PictureView[] = [];
    for (const pane of this.querySelectorAll<HTMLElement>('.pane')) {
      await nextTask();
      const image = pane.dataset.view === 'image';
      const path = image ? portrait : render;
      if (path === undefined) continue;
      const view = new PictureView({
        ground: pane.querySelector<HTMLElement>('.ground')!,
        grid,
        wheelZooms: false,
      });
      const plate = new PlateSwitch(view.engine, { onShown: () => pane.classList.add('drawn') });
      const tiles = image ? pictures.portrait_tiles : pictures.render_tiles;
      const tint = image ? undefined : colour;
      plate.show([
        { key: path, opacity: 1, source: () => new PyramidSource({ grid, tiles, root, path, tint }) },
      ]);
      view.moveTo(view.whole());
      views.push(view);
    }
    new LinkedViews(views);
    attachControls(
      this,
      () => leading(views),
      (shown) => setViews(this, views, shown),
    );
    const readout = new Readout(this, grid, {
      probe: portrait ? new Probe(root, grid, pictures.portrait_tiles) : null,
      grey: () => map,
      path: () => portrait ?? null,
    });
    for (const view of views) readout.follow(view, new Graticule(view));
    this.dataset.ready = '';
  }
}

customElements.define('layer-pair', LayerPair);
