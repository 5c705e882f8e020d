/** What campaign.yaml withholds, held against the layout: every name has to be one, or nothing is published. */
import type { Campaign } from '../../../../shared/artefacts/campaign.ts';
import { nearest } from '../../../../shared/artefacts/known-keys.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { FolioWithheld } from '../../../../shared/artefacts/withheld.ts';
import { InputFault } from '../../../../shared/errors.ts';
import { type Box, isEmptyBox } from '../../../../shared/polygon.ts';
import { boundsUm } from '../../../formats/layout/flatten.ts';
import { publicLayout } from '../../../formats/layout/public-layout.ts';
import type { Layout } from '../../../formats/layout.ts';

export interface Withholding {
  readonly drawn: ReadonlySet<string>;
  /** Names of cells of the layout, the patterns being resolved. */
  readonly cells: ReadonlySet<string>;
  /** Lower left and upper right corner, die micrometres. */
  readonly regionsUm: readonly Box[];
  /** Whether the image over withheld cells is taken out too. */
  readonly cellsLeaveImage: boolean;
  /** Whether there are places on the die whose image must not be seen. */
  readonly hidesPlaces: boolean;
  readonly isEmpty: boolean;
}

/** What a layout says of itself to this stage. */
export interface WithheldLayout {
  readonly layout: Layout;
  readonly top: string;
  readonly file: string;
  readonly boxUm: Box | null;
  readonly fit: {
    readonly unused: readonly { readonly drawn: string; readonly shapes: number }[];
  } | null;
}

/**
 * @param source null for a campaign without a layout
 * @throws InputFault for a name that is not in the layout: a slip there would publish what was meant to stay
 */
export function resolveWithheld(
  campaign: Pick<Campaign, 'withhold'>,
  source: WithheldLayout | null,
): Withholding {
  const {
    drawn = [],
    cells = [],
    regions_um: regions = [],
    cells_in_image: inImage,
  } = campaign.withhold ?? {};
  const needsLayout = drawn.length > 0 ? 'withhold.drawn' : cells.length > 0 ? 'withhold.cells' : null;
  if (needsLayout && !source)
    throw fault(
      needsLayout,
      'a layout to withhold something of',
      'a campaign without one',
      'Name the layout under chip.layout, or take the key out.',
    );
  const there = source ? drawnLayersOf(source.layout) : [];
  drawn.forEach((name, n) => {
    if (there.includes(name)) return;
    const near = nearest(name, there);
    throw fault(
      `withhold.drawn.${n}`,
      `a drawn layer that ${source!.file} has${near ? `, such as "${near}"` : ''}`,
      `"${name}", which holds nothing there`,
      'Correct the numbers, or take the entry out. Nothing was published.',
    );
  });
  const matched = new Set<string>();
  cells.forEach((pattern, n) => {
    const names = [...source!.layout.cells.keys()];
    const found = names.filter((name) => matches(pattern, name));
    if (found.length === 0) {
      const near = nearest(pattern.replaceAll('*', ''), names);
      throw fault(
        `withhold.cells.${n}`,
        `a cell that ${source!.file} has${near ? `, such as "${near}"` : ''}`,
        `"${pattern}", which fits none`,
        'Correct the name, or take the entry out. Nothing was published.',
      );
    }
    if (found.includes(source!.top))
      throw fault(
        `withhold.cells.${n}`,
        'cells inside the top cell',
        `"${pattern}", which fits the top cell "${source!.top}" itself`,
        'Name the cells more closely, or leave the layout out of the campaign.',
      );
    for (const name of found) matched.add(name);
  });
  const cellsLeaveImage = inImage !== 'shown';
  return {
    drawn: new Set(drawn),
    cells: matched,
    regionsUm: regions.map(([x0, y0, x1, y1]) => [
      Math.min(x0, x1),
      Math.min(y0, y1),
      Math.max(x0, x1),
      Math.max(y0, y1),
    ]),
    cellsLeaveImage,
    hidesPlaces: regions.length > 0 || (cellsLeaveImage && matched.size > 0),
    isEmpty: drawn.length + matched.size + regions.length === 0,
  };
}

/** `*` stands for anything, and nothing else has a meaning of its own. */
const matches = (pattern: string, name: string): boolean =>
  new RegExp(
    `^${pattern
      .split('*')
      .map((part) => part.replace(/[.+?^${}()|[\]\\]/g, '\\$&'))
      .join('.*')}$`,
    's',
  ).test(name);

function drawnLayersOf(layout: Layout): string[] {
  const drawn = new Set<string>();
  for (const cell of layout.cells.values()) {
    for (const map of [cell.polygons, cell.paths, cell.arrays])
      for (const name of map.keys()) drawn.add(name);
    for (const label of cell.labels) drawn.add(label.drawn);
  }
  return [...drawn];
}

const fault = (place: string, expected: string, found: string, remedy: string): InputFault =>
  new InputFault({ tag: 'inconsistent', file: 'campaign.yaml', place, expected, found, remedy });

/** The layout as it may be shown. */
export function shownLayout<L extends WithheldLayout>(source: L, withheld: Withholding): L {
  if (withheld.isEmpty) return source;
  const layout = publicLayout(source.layout, source.top, withheld);
  const box = boundsUm(layout, source.top);
  const unused = source.fit?.unused.filter(({ drawn }) => !withheld.drawn.has(drawn)) ?? [];
  return {
    ...source,
    layout,
    boxUm: isEmptyBox(box) ? null : box,
    fit: source.fit && { ...source.fit, unused },
  };
}

/** The process table as it may be shown: without the numbers of withheld drawn layers. */
export function shownProcess(process: Process, { drawn }: Withholding): Process {
  if (drawn.size === 0) return process;
  const shown = (names: readonly string[]) => names.filter((name) => !drawn.has(name));
  return {
    ...process,
    layers: process.layers.map((layer) => ({
      ...layer,
      drawn: shown(layer.drawn),
      ...(layer.labels ? { labels: shown(layer.labels) } : {}),
      ...(layer.fill ? { fill: shown(layer.fill) } : {}),
    })),
  };
}

/** Process layers whose drawing is withheld, in part or whole. */
export const withheldLayers = (process: Process | null, { drawn }: Withholding) =>
  (process?.layers ?? []).flatMap((layer) => {
    const gone = layer.drawn.filter((name) => drawn.has(name)).length;
    return gone === 0
      ? []
      : [
          {
            name: layer.name,
            drawing: gone === layer.drawn.length ? ('whole' as const) : ('in-part' as const),
          },
        ];
  });

/** A process table in which layers that are withheld in part count as not drawn: what is left of them cannot be judged. */
export function judgedProcess(process: Process, withheld: Withholding): Process {
  const touched = new Set(withheldLayers(process, withheld).map(({ name }) => name));
  const shown = shownProcess(process, withheld);
  return {
    ...shown,
    layers: shown.layers.map((layer) => (touched.has(layer.name) ? { ...layer, drawn: [] } : layer)),
  };
}

export function folioWithheld(
  withheld: Withholding,
  process: Process | null,
  scans: FolioWithheld['scans'],
): FolioWithheld | null {
  if (withheld.isEmpty) return null;
  return {
    regions_um: withheld.regionsUm.map(([x0, y0, x1, y1]) => [x0, y0, x1, y1]),
    cells: withheld.cells.size,
    drawn_layers: withheld.drawn.size,
    layers: withheldLayers(process, withheld).map(({ name }) => name),
    scans: [...scans],
  };
}
