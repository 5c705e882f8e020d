/** Whether image and drawing agree with a place that was fixed by hand. */
import { compose3, invert3 } from '../../../shared/affine.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import { exactDrawing } from './automatic/die-view.ts';
import { evidenceArtefact } from './automatic/evidence.ts';
import { middleOf } from './automatic/places.ts';
import { refine } from './automatic/refine.ts';
import { coarser } from './automatic/work-levels.ts';
import { workFromFile } from './automatic/work-volume.ts';
import { drawnStack, type ImageAndDrawing, type PlacedByImage, workVolumeOf } from './place-by-image.ts';

/** Pixels across the field that the check needs. */
const ACROSS = 160;
/** Least score and share of agreeing patches at which the image has a say. */
const HAS_A_SAY = { score: 0.3, agreeing: 0.6 } as const;
/** Standard uncertainties beyond which landmarks and image contradict each other. */
const LIMIT = 4;
/** The image is not asked to find less than this, voxels. */
const LEAST_VOXELS = 1;

/** The placement as it was, with what the image says of it. The map stays that of the landmarks. */
export async function confirmLandmarks(input: ImageAndDrawing, placement: Placement): Promise<PlacedByImage> {
  const full = await workVolumeOf(input);
  const level = coarser(full, Math.max(1, Math.floor(Math.min(full.nx, full.ny) / ACROSS)), 1);
  const { work } = level;
  const byHand = compose3(placement.voxel_to_die_um, invert3(workFromFile(full.binning)));
  const start = compose3(byHand, level.toFinest);
  const stack = drawnStack(input.process, input.layout, input.top);
  const drawing = exactDrawing(stack, work.voxelUm[0], work.slowUm);
  const rounds = [8, 5].map((voxels) => ({ reachUm: voxels * work.voxelUm[0], deepUm: 0.3 }));
  const signs = input.scan.bright === 'light' ? [-1] : input.scan.bright === 'dense' ? [1] : [1, -1];
  const tried = [];
  for (const sign of signs as (1 | -1)[])
    tried.push(await refine(work, start, sign, drawing, rounds, input.pause));
  const best = tried.sort((p, q) => q.strength - p.strength)[0]!;
  const [whole] = best.agreement.groups;
  if (!whole || whole.patches === 0) return { placement, evidence: null };
  const agreeing = whole.agreeing / whole.patches;
  const here = middleOf(work, start);
  const there = middleOf(work, best.workToDie);
  const off = [there[0] - here[0], there[1] - here[1]] as const;
  const share = `${Math.round(100 * agreeing)} % of ${whole.patches} patches of the field`;
  const evidence = evidenceArtefact({
    ...{ work, workToDie: start, sign: best.sign, drawing, agreement: best.agreement },
    ...{ decoys: [], runnerUp: null },
    words: [
      'The place was fixed by landmarks; nothing was searched, so there are no rivals and no decoys.',
      `Starting from there, image and drawing agree best ${off.map((v) => `${(1000 * v).toFixed(0)} nm`.replace('-', '−')).join(' and ')} (x, y) ` +
        `away, where ${share} find the place by themselves.`,
    ],
  });
  return { placement: { ...placement, doubts: [...placement.doubts, ...doubts()] }, evidence };

  function doubts(): string[] {
    if (best.score < HAS_A_SAY.score || agreeing < HAS_A_SAY.agreeing)
      return [
        `The image does not confirm the landmarks: only ${share} agree with the drawing near the place they give.`,
      ];
    const u = placement.uncertainty_um;
    const limit = Math.max(
      LIMIT * Math.hypot(u?.x ?? 0, u?.y ?? 0, best.uncertaintyUm.x, best.uncertaintyUm.y),
      (LEAST_VOXELS * input.survey.voxel_nm.x) / 1000,
    );
    if (Math.hypot(...off) <= limit) return [];
    return [
      `Image and drawing agree better ${off.map((v) => v.toFixed(3)).join(', ')} µm (x, y) from where the landmarks put ` +
        'the scan. The landmarks were kept.',
    ];
  }
}
