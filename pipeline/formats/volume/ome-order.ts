/**
 * The order of slices that OME-XML states: which page of which file holds which plane.
 * @source OME-TIFF specification, TiffData: IFD and PlaneCount; without IFD the pages start at 0 and all are meant,
 *   with IFD one page; without FileName the file itself is meant.
 */
import { basename } from 'node:path';
import type { InputFault } from '../../../shared/errors.ts';
import type { OmeDescription } from './ome-description.ts';

export interface PageOfFile {
  readonly path: string;
  /** From 0. */
  readonly page: number;
}

type MakeFault = (expected: string, found: string) => InputFault;

const MOST_PLANES = 10_000_000;

/**
 * @param pages all pages, in order of the files
 * @returns indices of `pages` in the order of their planes; null where the description does not order them
 * @throws the fault that `fault` makes, for pages that are not described while others are, or are described twice
 */
export function orderByOme(
  ome: OmeDescription,
  pages: readonly PageOfFile[],
  notes: string[],
  fault: MakeFault,
): number[] | null {
  if (ome.companion !== null) {
    notes.push(
      `the OME-XML stands in ${ome.companion}, which is not read; slices in the order of their files`,
    );
    return null;
  }
  const names = new Set(pages.map(({ path }) => basename(path)));
  const named = ome.planes.filter(({ file }) => file !== null);
  // Without names the description speaks of its own file only.
  if (ome.planes.length === 0 || (names.size > 1 && named.length === 0)) return null;
  if (named.length > 0 && !named.some(({ file }) => names.has(basename(file ?? '')))) {
    notes.push('the OME-XML speaks of files of other names; slices in the order of their files');
    return null;
  }
  const planes = planeNumbers(ome, basename(pages[0].path), pages.length);
  const numbers = pages.map(({ path, page }) => {
    const plane = planes.get(`${basename(path)}/${page}`);
    if (plane !== undefined) return plane;
    throw fault(
      'pages that the OME-XML knows',
      `page ${page + 1} of ${basename(path)}, of which it does not speak`,
    );
  });
  const order = pages.map((_, n) => n).sort((a, b) => numbers[a] - numbers[b]);
  const twice = order.find((n, at) => at > 0 && numbers[n] === numbers[order[at - 1]]);
  if (twice !== undefined) {
    throw fault('one page per plane in the OME-XML', `plane ${numbers[twice]} twice`);
  }
  if (planes.size > pages.length) {
    notes.push(`the OME-XML speaks of ${planes.size} planes; ${pages.length} are here`);
  }
  if (order.every((n, at) => n === at)) return null;
  notes.push('slices in the order that the OME-XML states, not in that of the files');
  return order;
}

function planeNumbers(ome: OmeDescription, own: string, pages: number): Map<string, number> {
  const sizes: Readonly<Record<string, number>> = { Z: ome.sizeZ, C: ome.sizeC, T: ome.sizeT };
  const axes = [...(ome.attributes.get('DimensionOrder') ?? 'XYZCT').slice(2)];
  const all = Math.min(MOST_PLANES, ome.sizeZ * ome.sizeC * ome.sizeT);
  const planes = new Map<string, number>();
  for (const { firstZ, firstC, firstT, page, count, file } of ome.planes) {
    const first: Readonly<Record<string, number>> = { Z: firstZ, C: firstC, T: firstT };
    let step = 1;
    let start = 0;
    for (const axis of axes) {
      start += (first[axis] ?? 0) * step;
      step *= sizes[axis] ?? 1;
    }
    const wanted = count ?? (page === null ? all - start : 1);
    // A forged count must not fill the memory; no more pages than there are can be meant.
    for (let n = 0; n < Math.min(wanted, Math.max(pages, 1)); n++) {
      planes.set(`${basename(file ?? own)}/${(page ?? 0) + n}`, start + n);
    }
  }
  return planes;
}
