/** The patches of correlation round the best place and round its runner-up, as pictures of one scale of greys. */
import type { APIRoute } from 'astro';
import sharp from 'sharp';
import type { PeakPatch } from '../../../../../shared/artefacts/evidence.ts';
import { getScans } from '../../../../lib/content.ts';
import { patchGreys } from '../../../../lib/placement-page.ts';

export async function getStaticPaths() {
  return (await getScans()).flatMap(({ scan, evidence }) => {
    const peak = evidence?.peak;
    if (!peak) return [];
    const patches: [string, PeakPatch][] = [['peak', peak.patch]];
    if (peak.runner_up) patches.push(['runner-up', peak.runner_up.patch]);
    const values = patches.flatMap(([, patch]) => patch.value);
    const range = [Math.min(0, ...values), Math.max(...values)] as const;
    return patches.map(([patch, content]) => ({
      params: { scan: scan.id, patch },
      props: { content, range },
    }));
  });
}

export const GET: APIRoute = async ({ props }) => {
  const { content, range } = props as { content: PeakPatch; range: readonly [number, number] };
  const greys = patchGreys(content, range[0], range[1]);
  const png = await sharp(greys, {
    raw: { width: content.width_px, height: content.height_px, channels: 1 },
  })
    .png()
    .toBuffer();
  return new Response(new Uint8Array(png), { headers: { 'content-type': 'image/png' } });
};
