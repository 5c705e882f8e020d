/** Image against drawing at four places of the field: wiped over each other, or taking turns. */
import type { Pictures } from '../../shared/artefacts/pictures.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import { dieFromPixel } from '../../shared/frames.ts';
import { chooseWindows } from '../lib/choose-windows.ts';
import { stretchGrey } from '../lib/difference.ts';
import { formatFixed } from '../lib/numbers.ts';
import { linearTint } from '../lib/tint.ts';
import { TileCrop } from './tile-crop.ts';

const SIDE_PX = 160;
const TURN_MS = 800;

class PlaceCompare extends HTMLElement {
  #plates!: Plates;
  #pictures!: Pictures;
  #crop!: TileCrop;
  #timer = 0;
  #drawingOnTop = true;
  #serial = 0;

  async connectedCallback(): Promise<void> {
    const { root = '', layer = '' } = this.dataset;
    [this.#plates, this.#pictures] = await Promise.all([
      fetch(`${root}plates.json`).then((answer) => answer.json() as Promise<Plates>),
      fetch(`${root}pictures.json`).then((answer) => answer.json() as Promise<Pictures>),
    ]);
    this.#crop = new TileCrop(root, this.#plates.grid);
    this.querySelector('select')!.addEventListener('change', (event) =>
      this.#show((event.target as HTMLSelectElement).value),
    );
    this.#wipe.addEventListener('input', () => {
      this.#stop();
      this.#cut();
    });
    this.querySelector('[data-act="blink"]')!.addEventListener('click', () => this.#turn());
    // Pictures far down the page are not wanted before somebody comes near.
    const near = new IntersectionObserver(
      (entries) => {
        if (!entries.some((entry) => entry.isIntersecting)) return;
        near.disconnect();
        this.#show(this.querySelector('select')!.value || layer);
      },
      { rootMargin: '400px' },
    );
    near.observe(this);
  }

  get #wipe(): HTMLInputElement {
    return this.querySelector<HTMLInputElement>('input[name="wipe"]')!;
  }

  async #show(name: string): Promise<void> {
    const serial = ++this.#serial;
    const { grid, z_um } = this.#plates;
    const picture = this.#pictures.layers.find((layer) => layer.name === name);
    if (!picture?.portrait || !picture.render) return;
    const { portrait, render } = picture;
    const { portrait_tiles, render_tiles } = this.#pictures;
    const coarse = await this.#crop.coarse(render.path, render_tiles);
    const scale = grid.width_px / coarse.width;
    const side = Math.min(SIDE_PX, grid.width_px >> 1, grid.height_px >> 1);
    const middles = chooseWindows(coarse, Math.max(2, Math.round(side / scale)));
    const colour = (JSON.parse(this.dataset.colours ?? '{}') as Record<string, string>)[name] ?? '#ffffff';
    const figures = await Promise.all(
      middles.map(async ([column, row], n) => {
        const rectangle = {
          x: Math.round(column * scale - side / 2),
          y: Math.round(row * scale - side / 2),
          width: side,
          height: side,
        };
        const [image, drawing] = await Promise.all([
          this.#crop.read(portrait.path, portrait_tiles, rectangle),
          this.#crop.read(render.path, render_tiles, rectangle),
        ]);
        stretchGrey(image.data, 24);
        linearTint(drawing.data, colour);
        const at = dieFromPixel(grid, rectangle.x + side / 2, rectangle.y + side / 2);
        const z = z_um[(portrait.plates[0] + portrait.plates[1]) >> 1] ?? 0;
        return this.#figure(image, drawing, at, z, side * grid.pixel_um, `${name}, place ${n + 1}`);
      }),
    );
    if (serial !== this.#serial) return;
    this.querySelector('[data-places]')!.replaceChildren(...figures);
    this.#cut();
    this.dataset.ready = name;
  }

  #figure(
    image: ImageData,
    drawing: ImageData,
    [x, y]: readonly [number, number],
    z: number,
    sideUm: number,
    words: string,
  ): HTMLElement {
    const figure = document.createElement('figure');
    const pair = document.createElement('div');
    pair.className = 'compare-pair';
    pair.setAttribute('role', 'img');
    pair.setAttribute('aria-label', `${words}: the drawing wiped over the image`);
    for (const [pixels, name] of [
      [image, 'image'],
      [drawing, 'drawing'],
    ] as const) {
      const canvas = document.createElement('canvas');
      canvas.className = name;
      canvas.width = pixels.width;
      canvas.height = pixels.height;
      const context = canvas.getContext('2d')!;
      // A drawing is transparent beside its shapes; wiped over an image it must hide it.
      if (name === 'drawing') {
        const shapes = new OffscreenCanvas(pixels.width, pixels.height);
        shapes.getContext('2d')!.putImageData(pixels, 0, 0);
        context.fillStyle = '#0b0c0e';
        context.fillRect(0, 0, pixels.width, pixels.height);
        context.drawImage(shapes, 0, 0);
      } else context.putImageData(pixels, 0, 0);
      pair.append(canvas);
    }
    pair.append(Object.assign(document.createElement('div'), { className: 'edge' }));
    const caption = document.createElement('figcaption');
    const link = document.createElement('a');
    const short = (value: number): string => String(Number(value.toFixed(3)));
    link.href = `${this.dataset.viewer}#z=${short(z)}&x=${short(x)}&y=${short(y)}&w=${short(1.5 * sideUm)}&show=both`;
    link.textContent = `${formatFixed(x, 2)}, ${formatFixed(y, 2)} µm`;
    link.setAttribute('aria-label', `Open ${link.textContent} in the viewer`);
    caption.append(link, `, ${formatFixed(sideUm, 1)} µm wide`);
    figure.append(pair, caption);
    return figure;
  }

  /** Shows the drawing left of the wipe, or all or none of it while they take turns. */
  #cut(): void {
    const blinking = this.classList.contains('blinking');
    const share = blinking ? (this.#drawingOnTop ? 100 : 0) : Number(this.#wipe.value);
    for (const pair of this.querySelectorAll<HTMLElement>('.compare-pair')) {
      pair.querySelector<HTMLElement>('.drawing')!.style.clipPath = `inset(0 ${100 - share}% 0 0)`;
      pair.querySelector<HTMLElement>('.edge')!.style.left = `${share}%`;
    }
  }

  /** By itself where motion is welcome; else one press is one turn. */
  #turn(): void {
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    if (this.#timer !== 0) {
      this.#stop();
      this.#cut();
      return;
    }
    this.classList.add('blinking');
    this.#drawingOnTop = !this.#drawingOnTop;
    this.#cut();
    if (still) return;
    this.querySelector('[data-act="blink"]')!.setAttribute('aria-pressed', 'true');
    this.#timer = window.setInterval(() => {
      this.#drawingOnTop = !this.#drawingOnTop;
      this.#cut();
    }, TURN_MS);
  }

  #stop(): void {
    clearInterval(this.#timer);
    this.#timer = 0;
    this.classList.remove('blinking');
    this.querySelector('[data-act="blink"]')!.setAttribute('aria-pressed', 'false');
  }

  disconnectedCallback(): void {
    this.#stop();
  }
}

customElements.define('place-compare', PlaceCompare);
