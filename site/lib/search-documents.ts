/** Everything of a folio that can be searched for: pages, layers, lessons, terms and findings; names of nets and cells. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { Folio } from '../../shared/artefacts/folio.ts';
import { netIndexSchema, netNamesSchema } from '../../shared/artefacts/net-lookup.ts';
import { readJson } from '../../shared/artefacts/read.ts';
import type { ScanArtefacts } from './artefacts.ts';
import { kindName, oddsWords } from './finding-words.ts';
import type { Term } from './glossary.ts';
import type { Lesson } from './lessons.ts';
import { formatFixed } from './numbers.ts';
import type { NameEntry, SearchDocument, SearchKind } from './search-options.ts';
import { kindWords, roleWords } from './words.ts';

/** Likeliest first; more would make the index heavy, and a table with filters shows them all. */
const MOST_FINDINGS = 1500;

const plain = (html: string): string =>
  html
    .replace(/<annotation[\s\S]*?<\/annotation>/g, '')
    .replace(/<[^>]*>/g, ' ')
    .replace(/&(?:#x?[\da-f]+|\w+);/gi, ' ')
    .replace(/\s+/g, ' ')
    .trim();

export interface SearchSources {
  readonly folio: Folio;
  readonly scans: readonly ScanArtefacts[];
  readonly lessons: readonly Lesson[];
  readonly terms: readonly Term[];
}

export function searchDocuments({ folio, scans, lessons, terms }: SearchSources): SearchDocument[] {
  const documents: SearchDocument[] = [];
  const add = (kind: SearchKind, title: string, text: string, address: string, place: string): void => {
    documents.push({ id: documents.length, kind, title, text, address, place });
  };
  add('page', folio.title, `${folio.chip.name} ${folio.summary} ${folio.doubts.join(' ')}`, '', 'Front page');
  add(
    'page',
    'Cautions',
    'limits uncertainty radiation security licence not a qualified report',
    'cautions/',
    'Before you build on a number',
  );
  add('page', 'Colophon', 'software fonts licences', 'colophon/', 'How this folio was made');
  for (const artefacts of scans) addScan(artefacts, folio, add);
  for (const lesson of lessons) {
    const address = `lessons/${lesson.slug}/`;
    add(
      'lesson',
      lesson.title,
      plain(`${lesson.summary ?? ''} ${lesson.opening} ${lesson.closing}`),
      address,
      'Lesson',
    );
    for (const [n, step] of lesson.steps.entries()) {
      const asked = step.questions.map((question) => question.prompt).join(' ');
      add(
        'lesson',
        step.title,
        plain(`${step.html} ${asked}`),
        `${address}#step-${n + 1}`,
        `${lesson.title}, step ${n + 1}`,
      );
    }
  }
  for (const term of terms)
    add('term', term.term, `${term.forms.join(' ')} ${term.text}`, `glossary/#${term.id}`, 'Glossary');
  return documents;
}

type Add = (kind: SearchKind, title: string, text: string, address: string, place: string) => void;

function addScan(
  { scan, layers, placement, findings, measurements }: ScanArtefacts,
  folio: Folio,
  add: Add,
): void {
  const at = `scan/${scan.id}/`;
  const page = (title: string, text: string, path: string): void =>
    add('page', title, text, at + path, scan.title);
  add(
    'page',
    scan.title,
    `viewer ${kindWords(scan.kind)} ${scan.acquisition?.technique ?? ''} ${scan.doubts.join(' ')}`,
    at,
    'Viewer',
  );
  page('Record', 'survey acquisition files voxel size checks provenance', 'record/');
  if (scan.kind === 'volume') {
    page('Verdict', 'was it made as drawn opens shorts', 'verdict/');
    page('Placement', `${placement?.method ?? ''} evidence landmarks residuals`, 'placement/');
    page('Findings', 'differences between image and drawing', 'findings/');
  }
  if (measurements)
    page('Measurements', 'width space pitch thickness bias resolution uncertainty', 'measurements/');
  for (const layer of layers.layers) {
    const material = folio.stack.find((one) => one.name === layer.name)?.material ?? '';
    add(
      'layer',
      layer.name,
      `layer ${roleWords(layer.role)} ${material}`,
      `${at}layer/${encodeURIComponent(layer.name)}/`,
      `${scan.title}, ${formatFixed(layer.bottom_um, 2)} to ${formatFixed(layer.top_um, 2)} µm`,
    );
  }
  const likeliest = [...(findings?.findings ?? [])].sort((a, b) => b.probability - a.probability);
  for (const one of likeliest.slice(0, MOST_FINDINGS)) {
    add(
      'finding',
      `${one.id}: ${kindName(one.kind)} on ${one.layer}`,
      `finding ${one.nets.join(' ')} ${one.note}`,
      `${at}#finding=${one.id}`,
      `${scan.title}, odds ${oddsWords(one.probability)}`,
    );
  }
}

/** @param data folder of the folio's data */
export async function nameEntries(data: string, scans: readonly ScanArtefacts[]): Promise<NameEntry[]> {
  const entries: NameEntry[] = [];
  for (const { scan, nets } of scans) {
    if (!nets || nets.nets.length === 0) continue;
    const file = (path: string): Promise<string> => readFile(join(data, scan.id, path), 'utf8');
    const index = readJson(await file('nets/index.json'), `${scan.id}/nets/index.json`, netIndexSchema);
    const names = readJson(await file(index.names.path), `${scan.id}/${index.names.path}`, netNamesSchema);
    const um = (value: number): string => String(Number((value * index.unit_um).toFixed(3)));
    for (const net of names.nets) {
      const layer = index.layers[net.layer]!;
      const [x, y] = [um(net.at[0]), um(net.at[1])];
      const z = Number(((layer.bottom_um + layer.top_um) / 2).toFixed(3));
      entries.push({
        name: net.name,
        kind: 'net',
        address: `scan/${scan.id}/#z=${z}&x=${x}&y=${y}&w=8&net=${encodeURIComponent(layer.name)}@${x},${y}`,
        place: `${scan.title}, ${layer.name}`,
      });
    }
    for (const cell of names.cells) {
      const [x0, y0, x1, y1] = cell.boxes[0] ?? [0, 0, 0, 0];
      const w = um(Math.max(1 / index.unit_um, 1.6 * Math.max(x1 - x0, y1 - y0)));
      entries.push({
        name: cell.name,
        kind: 'cell',
        address: `scan/${scan.id}/#x=${um((x0 + x1) / 2)}&y=${um((y0 + y1) / 2)}&w=${w}`,
        place: `${scan.title}, ${cell.instances === 1 ? 'one place' : `${cell.instances} places`}`,
      });
    }
  }
  return entries;
}
