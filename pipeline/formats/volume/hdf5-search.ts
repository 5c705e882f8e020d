/** Which dataset of an HDF5 file is the volume: the one that is named, the standard's own, or the only one there is. */
import type { Hdf5File } from './hdf5-file.ts';
import type { Hdf5Attribute, Hdf5Dataset } from './hdf5-protocol.ts';

export interface FoundDataset {
  /** Absolute path in the file. */
  readonly path: string;
  readonly dataset: Hdf5Dataset;
  /** How it was found. */
  readonly by: 'name' | 'Data Exchange' | 'NeXus' | 'the only volume';
}

/** @source Data Exchange: the dataset exchange/data is mandatory. */
const DATA_EXCHANGE = '/exchange/data';
const MOST_LISTED = 12;

/**
 * @param named path from the campaign; null to search
 * @throws InputFault when the named dataset is not there, or there is none or more than one to choose from
 */
export async function findDataset(file: Hdf5File, named: string | null): Promise<FoundDataset> {
  if (named !== null) {
    const path = `/${named.split('/').filter(Boolean).join('/')}`;
    return { path, dataset: await datasetAt(file, path), by: 'name' };
  }
  if ((await file.call('kind', [DATA_EXCHANGE])).kind === 'dataset') {
    const dataset = await file.call('dataset', [DATA_EXCHANGE]);
    if (isVolume(dataset)) return { path: DATA_EXCHANGE, dataset, by: 'Data Exchange' };
  }
  const objects = await file.call('names', []);
  const groups = objects.filter((object) => object.kind === 'group' && !object.isSoftLink);
  const signal = await nexusSignal(file, ['/', ...groups.map(({ path }) => `/${path}`)]);
  if (signal) return signal;

  const found = new Map<string, FoundDataset>();
  const seen: FoundDataset[] = [];
  for (const { path, kind, isSoftLink } of objects) {
    if (kind !== 'dataset' || isSoftLink) continue;
    const dataset = await file.call('dataset', [`/${path}`]);
    const entry = { path: `/${path}`, dataset, by: 'the only volume' } as const;
    seen.push(entry);
    // NeXus files link one dataset into several groups.
    if (isVolume(dataset) && !found.has(dataset.identity)) found.set(dataset.identity, entry);
  }
  const volumes = [...found.values()];
  if (volumes.length === 1) return volumes[0];
  if (volumes.length > 1) {
    throw file.fault('inconsistent', {
      expected: 'one dataset of three axes, or `dataset` to say which',
      found: `${volumes.length}: ${list(volumes)}`,
      remedy: 'Add dataset: with one of these paths to the volume.',
    });
  }
  const outside = objects.filter((object) => object.kind === 'external-link').map(({ path }) => `/${path}`);
  const others = seen.length > 0 ? `only ${list(seen)}` : 'no dataset at all';
  throw file.fault('unsupported', {
    expected: 'a dataset of numbers with three axes',
    found:
      outside.length > 0 ? `${others}; links to other files at ${outside.slice(0, 5).join(', ')}` : others,
    remedy: 'Check that the reconstruction was written to this file.',
  });
}

/** Sizes with leading axes of length 1 left out, as long as more than three are left. */
export function withoutLeadingOnes(shape: readonly number[]): number[] {
  const kept = [...shape];
  while (kept.length > 3 && kept[0] === 1) kept.shift();
  return kept;
}

function isVolume({ shape, class: kind }: Hdf5Dataset): boolean {
  return (kind === 'integer' || kind === 'float') && shape !== null && withoutLeadingOnes(shape).length === 3;
}

const list = (entries: readonly FoundDataset[]): string => {
  const named = entries.slice(0, MOST_LISTED).map(({ path, dataset: { shape, class: kind } }) => {
    const isNumber = kind === 'integer' || kind === 'float';
    return `${path} (${[shape?.join(' x ') || 'no axes', ...(isNumber ? [] : [kind])].join(', ')})`;
  });
  return named.join(', ') + (entries.length > MOST_LISTED ? `, ... (${entries.length} in all)` : '');
};

async function datasetAt(file: Hdf5File, path: string): Promise<Hdf5Dataset> {
  // A link to another file may stand anywhere on the way, and is not followed.
  const parts = path.split('/').filter(Boolean);
  for (let depth = 1; depth <= parts.length; depth++) {
    const here = `/${parts.slice(0, depth).join('/')}`;
    const { kind, target } = await file.call('kind', [here]);
    const isLast = depth === parts.length;
    if (kind === 'external-link') {
      throw file.fault(
        'unsupported',
        {
          expected: 'a dataset inside the file',
          found: `a link to another file, "${target}"`,
          remedy: 'Name that file in the campaign, or copy the dataset into this one.',
        },
        here,
      );
    }
    if (kind === (isLast ? 'dataset' : 'group')) continue;
    const what = kind === 'absent' ? 'nothing of that name' : `a ${kind.replace('-', ' ')}`;
    throw file.fault(
      'missing-file',
      {
        expected: isLast ? 'a dataset' : `a group on the way to ${path}`,
        found: `${what}${await suggestions(file)}`,
        remedy: 'Correct `dataset` in the volume, or leave it out where the file holds one volume only.',
      },
      here,
    );
  }
  if (parts.length === 0) {
    const remedy = 'Write the path of a dataset, such as /exchange/data.';
    throw file.fault('malformed', { expected: 'the path of a dataset', found: 'the root group', remedy });
  }
  return file.call('dataset', [path]);
}

async function suggestions(file: Hdf5File): Promise<string> {
  const datasets: string[] = [];
  for (const { path, kind } of await file.call('names', [])) {
    if (kind === 'dataset' && datasets.length < MOST_LISTED) datasets.push(`/${path}`);
  }
  return datasets.length > 0 ? `; the file holds ${datasets.join(', ')}` : '';
}

/**
 * The signal of the default plot: root, entry and data group name each other in `default`; else that of the only
 * NXdata group whose signal is a volume.
 * @source NeXus manual, NXdata: the group's attribute `signal` names the field; older files set `signal` on the field.
 */
async function nexusSignal(file: Hdf5File, groups: readonly string[]): Promise<FoundDataset | null> {
  const candidates = new Map<string, FoundDataset>();
  const attributes = new Map<string, Record<string, Hdf5Attribute>>();
  for (const group of groups) attributes.set(group, await file.call('attributes', [group]));
  let preferred = '/';
  for (let depth = 0; depth < 8; depth++) {
    const next = firstText(attributes.get(preferred)?.default);
    if (next === null) break;
    preferred = join(preferred, next);
  }
  for (const [group, own] of attributes) {
    if (firstText(own.NX_class) !== 'NXdata') continue;
    const name = firstText(own.signal) ?? 'data';
    const path = join(group, name);
    if ((await file.call('kind', [path])).kind !== 'dataset') continue;
    const dataset = await file.call('dataset', [path]);
    if (!isVolume(dataset)) continue;
    const entry = { path, dataset, by: 'NeXus' } as const;
    if (group === preferred) return entry;
    if (!candidates.has(dataset.identity)) candidates.set(dataset.identity, entry);
  }
  return candidates.size === 1 ? [...candidates.values()][0] : null;
}

export const join = (group: string, name: string): string =>
  name.startsWith('/') ? name : `${group === '/' ? '' : group}/${name}`;

export function firstText(value: Hdf5Attribute | undefined): string | null {
  const [first] = value ?? [];
  return typeof first === 'string' && first !== '' ? first : null;
}
