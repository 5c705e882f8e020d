/** Finding a net or a cell by a part of its name. Pure. */
import type { NetNames } from '../../shared/artefacts/net-lookup.ts';

export type Hit =
  | { readonly what: 'net'; readonly net: NetNames['nets'][number] }
  | { readonly what: 'cell'; readonly cell: NetNames['cells'][number] };

const nameOf = (hit: Hit): string => (hit.what === 'net' ? hit.net.name : hit.cell.name);

/** Exact names first, then those that begin with the words, then those that hold them; nets before cells. */
export function findNames(names: NetNames, words: string, most = 30): { hits: Hit[]; more: number } {
  const asked = words.trim().toLowerCase();
  if (asked === '') return { hits: [], more: 0 };
  const rank = (name: string): number => {
    const low = name.toLowerCase();
    return low === asked ? 0 : low.startsWith(asked) ? 1 : low.includes(asked) ? 2 : 3;
  };
  const all: { hit: Hit; rank: number }[] = [
    ...names.nets.map((net) => ({ hit: { what: 'net', net } as const, rank: rank(net.name) })),
    ...names.cells.map((cell) => ({ hit: { what: 'cell', cell } as const, rank: rank(cell.name) })),
  ].filter((one) => one.rank < 3);
  all.sort(
    (a, b) =>
      a.rank - b.rank ||
      (a.hit.what === b.hit.what ? 0 : a.hit.what === 'net' ? -1 : 1) ||
      nameOf(a.hit).localeCompare(nameOf(b.hit), 'en', { numeric: true }),
  );
  return { hits: all.slice(0, most).map((one) => one.hit), more: Math.max(0, all.length - most) };
}
