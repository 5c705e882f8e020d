/** Findings in the viewer: marks on the pictures, one finding opened, and what the reader decides about it. */
import type { Findings } from '../../shared/artefacts/findings.ts';
import type { Decision } from '../../shared/artefacts/reviews.ts';
import type { Selftest } from '../../shared/artefacts/selftest.ts';
import { findingCamera, plateOfLayer } from '../lib/finding-place.ts';
import {
  decisionWords,
  type Finding,
  findingSentence,
  kindName,
  oddsWords,
  sizeWords,
} from '../lib/finding-words.ts';
import { rateDetail, rateSentence, trialFor } from '../lib/hit-rate.ts';
import { MarkLayer } from './mark-layer.ts';
import { ReviewStore, today } from './review-store.ts';
import type { SidePanels } from './side-panels.ts';
import type { ViewerHost } from './viewer-host.ts';

export class FindingsPanel {
  readonly #host: ViewerHost;
  readonly #sides: SidePanels;
  readonly #panel: HTMLElement;
  readonly #marks: readonly MarkLayer[];
  readonly #findings: readonly Finding[];
  readonly #selftest: Selftest | null;
  readonly #store: ReviewStore;
  #selected: Finding | null = null;
  #onNet: (name: string, finding: Finding) => void = () => {};

  static async open(host: ViewerHost, sides: SidePanels, panel: HTMLElement): Promise<FindingsPanel> {
    const { folio = '', scan = '', reviews, selftest } = panel.dataset;
    const json = async <T>(address: string): Promise<T> => (await fetch(address)).json() as Promise<T>;
    const [findings, rates, store] = await Promise.all([
      json<Findings>(`${host.root}findings.json`),
      selftest === 'yes' ? json<Selftest>(`${host.root}selftest.json`) : null,
      ReviewStore.open({ key: folio, scan, pixelUm: host.grid.pixel_um, recorded: reviews ?? null }),
    ]);
    return new FindingsPanel(host, sides, panel, findings, rates, store);
  }

  private constructor(
    host: ViewerHost,
    sides: SidePanels,
    panel: HTMLElement,
    findings: Findings,
    selftest: Selftest | null,
    store: ReviewStore,
  ) {
    this.#host = host;
    this.#sides = sides;
    this.#panel = panel;
    this.#findings = [...findings.findings].sort((a, b) => b.probability - a.probability);
    this.#selftest = selftest;
    this.#store = store;
    this.#marks = host.parts.map(
      ({ view }, n) => new MarkLayer({ view, keyboard: n === 0, onSelect: (id) => this.select(id, true) }),
    );
    this.#fillList();
    const act = (name: string, run: () => void): void =>
      panel.querySelector(`[data-act="${name}"]`)?.addEventListener('click', run);
    act('finding-before', () => this.#step(-1));
    act('finding-after', () => this.#step(1));
    act('save-reviews', () => store.save());
    act('take-back', () => {
      if (!this.#selected) return;
      store.takeBack(this.#selected);
      this.#host.announce('Your decision was taken back.');
    });
    for (const button of panel.querySelectorAll<HTMLButtonElement>('button[data-decision]')) {
      button.addEventListener('click', () => this.#decide(button.dataset.decision as Decision));
    }
    store.onChange(() => this.#refresh());
    host.onPlate(() => this.#showMarks());
    sides.onToggle(() => this.#showMarks());
    this.#refresh();
  }

  /** @param listener is told which net of a finding the reader wants to see */
  onNet(listener: (name: string, finding: Finding) => void): void {
    this.#onNet = listener;
    if (this.#selected) this.#write();
  }

  /** Findings that touch a net, the likeliest first. */
  ofNet(name: string): readonly Finding[] {
    return this.#findings.filter((finding) => finding.nets.includes(name));
  }

  /** @param go whether the views move to it; an address that names a place has brought them there */
  select(id: string | null, go: boolean): void {
    const finding = this.#findings.find((one) => one.id === id) ?? null;
    this.#selected = finding;
    this.#host.keepInAddress({ finding: finding?.id ?? null });
    if (finding) {
      this.#sides.show('findings');
      if (go) {
        const plate = plateOfLayer(this.#host.layers, finding.layer);
        if (plate !== null) this.#host.goToPlate(plate);
        this.#host.lookAt(findingCamera(finding, this.#host.grid));
        this.#host.announce(this.#words(finding));
      }
    }
    this.#refresh();
  }

  #step(by: 1 | -1): void {
    const at = this.#selected ? this.#findings.indexOf(this.#selected) : by > 0 ? -1 : 0;
    const count = this.#findings.length;
    this.select(this.#findings[(at + by + count) % count]?.id ?? null, true);
  }

  #decide(decision: Decision): void {
    const finding = this.#selected;
    if (!finding) return;
    const field = this.#panel.querySelector('textarea')!;
    if (decision === 'comment' && field.value.trim() === '') {
      this.#host.announce('Write the remark first.');
      field.focus();
      return;
    }
    this.#store.put(finding, decision, field.value, today());
    this.#host.announce(`${finding.id} ${decisionWords(decision)}.`);
  }

  #words(finding: Finding): string {
    const review = this.#store.latest(finding);
    const judged = review ? decisionWords(review.decision) : 'not judged yet';
    return `${finding.id}, ${kindName(finding.kind)} on ${finding.layer}, odds ${oddsWords(finding.probability)}, ${judged}`;
  }

  #refresh(): void {
    this.#write();
    this.#showMarks();
  }

  #showMarks(): void {
    const present = this.#host.presentLayers();
    const marks = this.#findings.flatMap((finding) => {
      const layer = present.find((one) => one.name === finding.layer);
      if (!layer) return [];
      return [
        {
          id: finding.id,
          boxUm: finding.box_um,
          words: this.#words(finding),
          state: this.#store.latest(finding)?.decision ?? 'open',
          selected: finding === this.#selected,
          faint: layer.share < 1,
        },
      ];
    });
    for (const layer of this.#marks) layer.show(marks);
  }

  #fillList(): void {
    const list = this.#panel.querySelector('[data-list]')!;
    list.replaceChildren(
      ...this.#findings.map((finding) => {
        const item = document.createElement('li');
        const button = document.createElement('button');
        button.type = 'button';
        button.dataset.id = finding.id;
        button.append(
          Object.assign(document.createElement('span'), { textContent: finding.id, className: 'number' }),
          ` ${kindName(finding.kind)}, ${finding.layer} `,
          Object.assign(document.createElement('span'), {
            textContent: oddsWords(finding.probability),
            className: 'quiet',
          }),
        );
        button.addEventListener('click', () => this.select(finding.id, true));
        item.append(button);
        return item;
      }),
    );
  }

  #write(): void {
    const finding = this.#selected;
    const at = (name: string): HTMLElement => this.#panel.querySelector<HTMLElement>(`[data-f="${name}"]`)!;
    at('one').hidden = finding === null;
    const save = this.#panel.querySelector<HTMLElement>('[data-f="unsaved"]')!;
    save.hidden = this.#store.unsaved === 0;
    for (const button of this.#panel.querySelectorAll<HTMLElement>('[data-list] button')) {
      const mine = button.dataset.id === finding?.id;
      if (mine) button.setAttribute('aria-current', 'true');
      else button.removeAttribute('aria-current');
    }
    const n = finding ? this.#findings.indexOf(finding) + 1 : 0;
    at('count').textContent = finding
      ? `${n} of ${this.#findings.length}`
      : `${this.#findings.length} in this scan`;
    if (!finding) return;
    at('title').textContent = `${finding.id}, ${kindName(finding.kind)}`;
    at('sentence').textContent = findingSentence(finding);
    const [x0, y0, x1, y1] = finding.box_um;
    const trial = this.#selftest
      ? trialFor(this.#selftest.trials, finding.kind, finding.layer, Math.max(x1 - x0, y1 - y0))
      : null;
    at('rate').textContent = trial ? `${rateSentence(trial)} (${rateDetail(trial)})` : '';
    at('layer').textContent = finding.layer;
    at('size').textContent = sizeWords(finding);
    at('odds').textContent = oddsWords(finding.probability);
    this.#writeNets(at('nets'), finding);
    const review = this.#store.latest(finding);
    const own = this.#store.isOwn(finding);
    at('judged').textContent = review
      ? `${decisionWords(review.decision)}, ${review.date}${own ? ', in this browser' : ', in the record of the campaign'}`
      : 'not judged yet';
    const field = this.#panel.querySelector('textarea')!;
    // What is being written is not overwritten by a decision in another tab.
    if (field.dataset.of !== finding.id || document.activeElement !== field)
      field.value = review?.comment ?? '';
    field.dataset.of = finding.id;
    for (const button of this.#panel.querySelectorAll<HTMLElement>('button[data-decision]')) {
      button.setAttribute('aria-pressed', String(button.dataset.decision === review?.decision));
    }
    this.#panel.querySelector<HTMLElement>('[data-act="take-back"]')!.hidden = !own;
  }

  #writeNets(cell: HTMLElement, finding: Finding): void {
    if (finding.nets.length === 0) {
      cell.textContent = 'none known';
      return;
    }
    const follow = this.#panel.dataset.nets === 'yes';
    cell.replaceChildren(
      ...finding.nets.flatMap((name, n) => {
        const comma = n > 0 ? [', '] : [];
        if (!follow) return [...comma, name];
        const button = document.createElement('button');
        button.type = 'button';
        button.className = 'inline';
        button.textContent = name;
        button.setAttribute('aria-label', `Light up the net ${name}`);
        button.addEventListener('click', () => this.#onNet(name, finding));
        return [...comma, button];
      }),
    );
  }
}
