/** The measuring panel: tools, the present reading, the list of readings, saving and reading in. */
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import { plateGrey } from '../../../shared/plate-path.ts';
import { nearestPlate } from '../../lib/depth.ts';
import type { Trace } from '../../lib/measuring/evaluate.ts';
import { encodeReadings, MOST_IN_LINK, parseReadings, sameInput } from '../../lib/measuring/link.ts';
import {
  type PointUm,
  type Reading,
  type ReadingInput,
  TOOLS,
  type Tool,
  toolOf,
} from '../../lib/measuring/reading.ts';
import { valueWords } from '../../lib/measuring/words.ts';
import { parseState } from '../../lib/permalink.ts';
import { today } from '../review-store.ts';
import { fetchJson } from '../scan-data.ts';
import { BrickPlanes } from '../section/brick-planes.ts';
import { PlateColumns } from '../section/plate-columns.ts';
import { SectionStrip } from '../section/section-strip.ts';
import type { SidePanels } from '../side-panels.ts';
import type { ViewerHost } from '../viewer-host.ts';
import { ADDRESS_KEY } from './attach.ts';
import { Evaluator } from './evaluator.ts';
import { readReadingsFile, saveReadings } from './files.ts';
import { foundEdges } from './found-edges.ts';
import { Hand } from './hand.ts';
import { ScanKnowledge } from './knowledge.ts';
import { PlateMeasurer } from './measurer.ts';
import { type DrawnReading, MeasureOverlay } from './overlay.ts';
import { showReading } from './reading-view.ts';
import { ReadingStore } from './store.ts';
import { plateSurface, type Surface } from './surface.ts';

type ToolName = Tool['kind'] | 'section';

interface Parts {
  readonly measurer: PlateMeasurer;
  readonly evaluator: Evaluator;
  readonly strip: SectionStrip | null;
}

export class MeasurePanel {
  readonly #host: ViewerHost;
  readonly #sides: SidePanels;
  readonly #box: HTMLElement;
  readonly #parts: Parts;
  readonly #store: ReadingStore;
  readonly #hand: Hand;
  readonly #overlays: MeasureOverlay[];
  /** Profiles of the readings of this visit; those of earlier ones are measured again when chosen. */
  readonly #traces = new Map<string, Trace | null>();
  #tool: ToolName | null = null;
  #chosen = -1;
  #sectionLine: readonly PointUm[] | null = null;

  static async open(host: ViewerHost, sides: SidePanels, box: HTMLElement): Promise<MeasurePanel> {
    const deep = host.plates.z_um.length > 1;
    const strip = host.element.querySelector<HTMLElement>('.section-strip');
    const { drawing, brick: hasBrick } = host.element.dataset;
    const [known, pictures, brick] = await Promise.all([
      ScanKnowledge.open(host.root, host.grid, host.layers.layers.length > 1, box.dataset.page !== undefined),
      drawing === 'yes' ? fetchJson<Pictures>(`${host.root}pictures.json`).catch(() => null) : null,
      deep && strip && hasBrick === 'yes' ? BrickPlanes.open(host.root) : null,
    ]);
    const columns = new PlateColumns(host);
    const measurer = new PlateMeasurer(host, known, pictures);
    return new MeasurePanel(host, sides, box, {
      ...{ measurer, evaluator: new Evaluator(host, known, measurer, columns) },
      strip: brick && strip ? new SectionStrip(host, strip, brick, columns) : null,
    });
  }

  private constructor(host: ViewerHost, sides: SidePanels, box: HTMLElement, parts: Parts) {
    this.#host = host;
    this.#sides = sides;
    this.#box = box;
    this.#parts = parts;
    this.#store = new ReadingStore(box.dataset.store!);
    const z = (): number => host.plates.z_um[host.plate()]!;
    const surfaces: Surface[] = host.parts.map((part) => plateSurface(part.view, z));
    if (parts.strip) surfaces.push(parts.strip.surface);
    this.#hand = new Hand(surfaces, {
      changed: () => this.#redraw(),
      done: (points, pointing) => void this.#done(points, pointing),
      laidDown: () => this.#showTool(null),
      announce: host.announce,
    });
    this.#overlays = surfaces.map((one) => new MeasureOverlay(one, () => this.#scene(one.kind)));
    this.#attach();
    this.#store.onChange(() => this.#list());
    host.onPlate(() => this.#redraw());
    this.#list();
    void this.#fromAddress();
    addEventListener('hashchange', () => void this.#fromAddress());
    box.dataset.ready = '';
  }

  #el<T extends HTMLElement = HTMLElement>(name: string): T {
    return this.#box.querySelector<T>(`[data-m="${name}"]`)!;
  }

  #attach(): void {
    for (const button of this.#box.querySelectorAll<HTMLButtonElement>('[data-tool]')) {
      const name = button.dataset.tool as ToolName;
      if (!this.#parts.strip && (name === 'section' || toolOf(name).where === 'section')) {
        button.remove();
        continue;
      }
      button.addEventListener('click', () => (this.#tool === name ? this.#hand.layDown() : this.#take(name)));
    }
    const act = (name: string, run: () => void): void =>
      this.#box.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('close-outline', () => this.#hand.close());
    act('reading-off', () => this.#takeOut());
    act('readings-csv', () => void saveReadings('csv', this.#store.all, this.#box.dataset));
    act('readings-json', () => void saveReadings('json', this.#store.all, this.#box.dataset));
    act('readings-clear', () => {
      this.#chosen = -1;
      this.#store.clear();
      this.#host.announce('All readings are taken out.');
    });
    const file = this.#el<HTMLInputElement>('file');
    act('readings-in', () => file.click());
    file.addEventListener('change', () => void this.#readIn(file));
    this.#el<HTMLInputElement>('note').addEventListener('change', (event) =>
      this.#store.note(this.#chosen, (event.target as HTMLInputElement).value.trim()),
    );
    this.#el('list').addEventListener('click', (event) => {
      const button = (event.target as Element).closest<HTMLButtonElement>('button[data-n]');
      if (button) void this.#choose(Number(button.dataset.n), true);
    });
    this.#sides.onToggle(() => {
      if (this.#sides.open !== 'measure') this.#hand.layDown();
      this.#redraw();
    });
    this.#parts.strip?.onClosed(() => {
      this.#sectionLine = null;
      if (this.#hand.held?.where === 'section') this.#hand.layDown();
      this.#redraw();
    });
  }

  #take(name: ToolName): void {
    this.#trouble('');
    const held = name === 'section' ? ({ points: 2, where: 'plate' } as const) : toolOf(name);
    if (!this.#hand.take(held)) {
      this.#showTool(null);
      this.#trouble(
        held.where === 'section'
          ? 'There is no section yet. Press “Draw a section” and put two points on a plate first.'
          : 'No picture is shown to measure on.',
      );
      return;
    }
    this.#showTool(name);
    this.#host.announce(this.#el('ask').textContent);
  }

  #showTool(name: ToolName | null): void {
    this.#tool = name;
    for (const button of this.#box.querySelectorAll<HTMLButtonElement>('[data-tool]'))
      button.setAttribute('aria-pressed', String(button.dataset.tool === name));
    const tool = TOOLS.find((one) => one.kind === name);
    this.#el('ask').textContent =
      name === null
        ? 'Choose what to measure.'
        : (tool?.ask ??
          'Put two points on a plate: the section is cut along the line between them, through all heights.');
    this.#el('keys').hidden = name === null;
    this.#el('outline').hidden = tool?.points !== 'many';
    this.#el('average-row').hidden = !tool?.averages;
    if (tool?.averages) this.#showAverage(tool.where);
  }

  /** Plates and sections keep a width of their own. */
  #showAverage(where: Tool['where']): void {
    const field = this.#el<HTMLInputElement>('average');
    field.value = field.dataset[where]!;
    field.onchange = () => {
      if (field.validity.valid && field.value !== '') field.dataset[where] = field.value;
      else field.value = field.dataset[where]!;
    };
  }

  #trouble(words: string): void {
    this.#el('trouble').textContent = words;
    // In a low panel, as beside an open section, it would stand below the fold, and nothing would seem to happen.
    if (words) this.#el('trouble').scrollIntoView({ block: 'nearest' });
  }

  async #done(points: readonly PointUm[], pointing: number): Promise<void> {
    this.#trouble('');
    if (this.#tool === 'section') {
      this.#sectionLine = points;
      const [a, b] = points as [PointUm, PointUm];
      this.#hand.layDown();
      await this.#parts.strip!.cut([a[0], a[1]], [b[0], b[1]]);
      this.#host.announce('The section is cut. Thickness and height difference are measured in it.');
      return;
    }
    const kind = this.#tool;
    if (!kind) return;
    const tool = toolOf(kind);
    const average = tool.averages
      ? Math.max(0, Number(this.#el<HTMLInputElement>('average').value) / 1000)
      : null;
    const byHand = ['distance', 'angle', 'area', 'height'].includes(kind);
    const input: ReadingInput = {
      ...{ kind, average_um: average, pointing_um: byHand ? pointing : null },
      points_um: kind === 'thickness' ? this.#stretch(points[0]!, average ?? 0) : [...points],
    };
    await this.#measure(input, true);
  }

  /** The stretch of the section round a point over which a thickness is averaged. */
  #stretch([x, y, z]: PointUm, averageUm: number): PointUm[] {
    const [from, to] = this.#parts.strip!.line!;
    const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
    const [ux, uy] = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    const half = averageUm / 2;
    return [
      [x - ux * half, y - uy * half, z],
      [x + ux * half, y + uy * half, z],
    ];
  }

  /** @param say whether a reader waits for the answer */
  async #measure(input: ReadingInput, say: boolean): Promise<void> {
    const began = performance.now();
    const found = await this.#parts.evaluator.evaluate(input);
    this.#box.dataset.tookMs = (performance.now() - began).toFixed(1);
    const name = toolOf(input.kind).name;
    if (found.kind === 'refused') {
      if (!say) return;
      this.#trouble(`Not measured: ${found.reason}.`);
      return;
    }
    const plate = nearestPlate(this.#host.plates.z_um, input.points_um[0]![2]);
    const { dataset } = this.#box;
    const reading: Reading = {
      ...input,
      ...{ points_um: input.points_um.map((p) => p.map((v) => Number(v.toFixed(5))) as PointUm) },
      ...{ scan: dataset.scan!, frame: dataset.frame as Reading['frame'] },
      ...{ layer: this.#parts.measurer.layerOf(plate), plate, z_um: input.points_um[0]![2] },
      ...{ values: [...found.values], resolution_um: found.resolutionUm, method: `reading-${input.kind}` },
      ...{ software: dataset.software!, made: today(), note: '', doubts: [...found.doubts] },
    };
    const old = this.#store.all.find((one) => sameInput(one, reading));
    this.#traces.set(encodeReadings([reading]), found.trace);
    const index = this.#store.put(old ? { ...reading, note: old.note } : reading);
    if (!say) return;
    await this.#choose(index, false);
    this.#el('title').scrollIntoView({ block: 'nearest' });
    this.#el('value').scrollIntoView({ block: 'nearest' });
    this.#host.announce(`${name}: ${valueWords(reading.values[0]!)}.`);
  }

  /** Shows one reading; one of an earlier visit is measured again for its profile. */
  async #choose(index: number, go: boolean): Promise<void> {
    this.#chosen = index;
    const reading = this.#store.all[index];
    if (reading && go) {
      this.#host.goToPlate(reading.plate);
      const [x, y] = middleOf(reading.points_um);
      this.#host.lookAt({ ...this.#host.camera(), xUm: x, yUm: y });
      const key = encodeReadings([reading]);
      if (!this.#traces.has(key)) {
        const found = await this.#parts.evaluator.evaluate(reading);
        this.#traces.set(key, found.kind === 'evaluated' ? found.trace : null);
      }
    }
    this.#list();
  }

  #takeOut(): void {
    const index = this.#chosen;
    this.#chosen = -1;
    this.#store.takeOut(index);
    this.#host.announce('The reading is taken out.');
    (
      this.#el('list').querySelector<HTMLElement>('button') ??
      this.#box.querySelector<HTMLElement>('[data-tool]')
    )?.focus();
  }

  #list(): void {
    const { all } = this.#store;
    this.#el('count').textContent = all.length > 0 ? String(all.length) : '';
    const list = this.#el('list');
    const focused = list.contains(document.activeElement);
    list.replaceChildren(
      ...all.map((reading, n) => {
        const button = document.createElement('button');
        button.type = 'button';
        button.dataset.n = String(n);
        if (n === this.#chosen) button.setAttribute('aria-current', 'true');
        const value = document.createElement('span');
        value.className = 'quiet';
        value.textContent = valueWords(reading.values[0]!);
        const note = reading.note ? `: ${reading.note}` : '';
        button.append(`${n + 1} ${toolOf(reading.kind).name}${note} `, value);
        const item = document.createElement('li');
        item.append(button);
        return item;
      }),
    );
    if (focused) list.querySelector<HTMLElement>(`[data-n="${this.#chosen}"]`)?.focus();
    this.#el('kept').textContent =
      all.length === 0
        ? 'None yet. Readings stay in this browser until you take them out.'
        : all.length > MOST_IN_LINK
          ? `Kept in this browser. More than ${MOST_IN_LINK} do not fit into a link: save the table instead.`
          : 'Kept in this browser, and in the link to this view.';
    for (const name of ['readings-csv', 'readings-json', 'readings-clear'])
      this.#box.querySelector<HTMLButtonElement>(`[data-act="${name}"]`)!.disabled = all.length === 0;
    const reading = all[this.#chosen];
    const trace = reading ? (this.#traces.get(encodeReadings([reading])) ?? null) : null;
    showReading(this.#box, reading ?? null, {
      ...{ number: this.#chosen + 1, trace, grid: this.#host.grid, stepUm: this.#host.plates.step_um },
      grey: plateGrey(this.#host.plates.grey, reading?.plate ?? 0),
      page: this.#box.dataset.page,
    });
    this.#host.keepInAddress({ extras: { [ADDRESS_KEY]: encodeReadings(all) } });
    this.#redraw();
  }

  /** Readings that a link brings are measured here anew. */
  async #fromAddress(): Promise<void> {
    const text = parseState(location.hash).extras?.[ADDRESS_KEY];
    if (!text) return;
    const inputs = parseReadings(text).filter(
      (input) => !this.#store.all.some((one) => sameInput(one, input)),
    );
    for (const input of inputs) {
      if (input.kind === 'thickness' && !this.#parts.strip) continue;
      await this.#measure(input, false);
    }
    if (inputs.length > 0) await this.#choose(this.#store.all.length - 1, false);
  }

  async #readIn(file: HTMLInputElement): Promise<void> {
    const chosen = file.files?.[0];
    file.value = '';
    if (!chosen) return;
    this.#trouble('');
    try {
      const readings = await readReadingsFile(chosen);
      const own = readings.filter((one) => one.scan === this.#box.dataset.scan);
      for (const reading of own) this.#store.put(reading);
      const rest = readings.length - own.length;
      this.#host.announce(`${own.length} readings are read in.`);
      if (rest > 0) this.#trouble(`${rest} readings belong to other scans and were left out.`);
    } catch (error) {
      this.#trouble((error as Error).message);
    }
  }

  #redraw(): void {
    for (const overlay of this.#overlays) overlay.refresh();
  }

  #scene(kind: Surface['kind']): { readings: readonly DrawnReading[]; cursor: PointUm | null } {
    if (this.#sides.open !== 'measure') return { readings: [], cursor: null };
    const present = this.#host.plate();
    const kept = this.#store.all.flatMap((reading, n): DrawnReading[] => {
      const tool = toolOf(reading.kind);
      if (tool.where !== kind) return [];
      const here = kind === 'section' || reading.plate === present;
      const value = n === this.#chosen ? ` ${valueWords(reading.values[0]!)}` : '';
      const look = n === this.#chosen ? 'chosen' : here ? 'kept' : 'elsewhere';
      const trace = this.#traces.get(encodeReadings([reading])) ?? null;
      return [
        {
          ...{ kind: reading.kind, points: reading.points_um, label: `${n + 1}${value}`, look },
          edges: n === this.#chosen ? foundEdges(reading, trace, this.#host.grid) : [],
        },
      ];
    });
    const line: DrawnReading[] =
      kind === 'plate' && this.#sectionLine
        ? [{ kind: 'section', points: this.#sectionLine, label: 'section', look: 'kept' }]
        : [];
    const { held, points, cursor } = this.#hand;
    const mine = held?.where === kind;
    const open: DrawnReading[] =
      mine && points.length > 0 && this.#tool
        ? [{ kind: this.#tool, points: cursor ? [...points, cursor] : points, label: '', look: 'open' }]
        : [];
    return { readings: [...kept, ...line, ...open], cursor: mine ? cursor : null };
  }
}

function middleOf(points: readonly PointUm[]): [number, number] {
  const n = points.length;
  return [points.reduce((s, p) => s + p[0], 0) / n, points.reduce((s, p) => s + p[1], 0) / n];
}
