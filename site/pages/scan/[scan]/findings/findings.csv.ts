/** The findings of one scan as a table to download. */
import type { APIRoute } from 'astro';
import { findingCells, findingColumns } from '../../../../../shared/artefacts/findings-table.ts';
import { csvText } from '../../../../../shared/csv.ts';
import { matchReviews } from '../../../../../shared/review-match.ts';
import type { ScanArtefacts } from '../../../../lib/artefacts.ts';
import { getScans } from '../../../../lib/content.ts';
import { findingSentence } from '../../../../lib/finding-words.ts';

export async function getStaticPaths() {
  return (await getScans())
    .filter((artefacts) => artefacts.findings !== null)
    .map((artefacts) => ({ params: { scan: artefacts.scan.id }, props: { artefacts } }));
}

const HEADER = ['scan', ...findingColumns, 'decision', 'comment', 'date'];

export const GET: APIRoute = ({ props }) => {
  const { scan, findings, reviews, plates } = (props as { artefacts: ScanArtefacts }).artefacts;
  const all = findings?.findings ?? [];
  const { byFinding } = matchReviews(scan.id, all, reviews, plates.grid.pixel_um);
  const rows = all.map((finding) => {
    const last = byFinding.get(finding.id)?.at(-1);
    return [
      scan.id,
      ...findingCells({ ...finding, note: findingSentence(finding) }),
      last?.decision ?? '',
      last?.comment ?? '',
      last?.date ?? '',
    ];
  });
  return new Response(csvText(HEADER, rows), { headers: { 'content-type': 'text/csv; charset=utf-8' } });
};
