/** The search field of the nets panel: names of nets and cells as one types. */
import type { NetNames } from '../../shared/artefacts/net-lookup.ts';
import { findNames, type Hit } from '../lib/net-find.ts';
import { formatCount } from '../lib/numbers.ts';

/** @param names fetched with the first word that is typed */
export function attachSearch(
  panel: HTMLElement,
  names: () => Promise<NetNames>,
  onChoose: (hit: Hit) => void,
): void {
  const field = panel.querySelector<HTMLInputElement>('input[type="search"]')!;
  const list = panel.querySelector<HTMLElement>('[data-hits]')!;
  const said = panel.querySelector<HTMLElement>('[data-hits-count]')!;
  const find = async (words: string): Promise<void> => {
    if (words.trim() === '') {
      list.replaceChildren();
      said.textContent = '';
      return;
    }
    const all = await names().catch(() => null);
    // What was typed meanwhile is answered by its own call.
    if (field.value !== words) return;
    if (!all) {
      said.textContent = 'The list of names could not be loaded.';
      return;
    }
    const { hits, more } = findNames(all, words);
    said.textContent =
      hits.length === 0
        ? 'No net and no cell has this in its name.'
        : more > 0
          ? `${hits.length} shown, ${formatCount(more)} more.`
          : `${hits.length} found.`;
    list.replaceChildren(...hits.map((hit) => item(hit, onChoose)));
  };
  field.addEventListener('input', () => find(field.value));
  field.form?.addEventListener('submit', async (event) => {
    event.preventDefault();
    await find(field.value);
    list.querySelector<HTMLButtonElement>('button')?.click();
  });
}

function item(hit: Hit, onChoose: (hit: Hit) => void): HTMLElement {
  const button = document.createElement('button');
  button.type = 'button';
  const kind = document.createElement('span');
  kind.className = 'quiet';
  kind.textContent =
    hit.what === 'net'
      ? 'net'
      : `cell, ${formatCount(hit.cell.instances)} ${hit.cell.instances === 1 ? 'place' : 'places'}`;
  button.append(hit.what === 'net' ? hit.net.name : hit.cell.name, ' ', kind);
  button.addEventListener('click', () => onChoose(hit));
  const entry = document.createElement('li');
  entry.append(button);
  return entry;
}
