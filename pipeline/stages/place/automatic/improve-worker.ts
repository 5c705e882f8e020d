/** Thread that makes places of the search better. */
import { once } from 'node:events';
import { asTask } from '../../../workers/task.ts';
import { type AskedDrawing, snapping } from './die-view.ts';
import type { LayerPicture } from './drawing.ts';
import type { ImproveTask } from './improve-task.ts';
import { type Refined, refine } from './refine.ts';

export default asTask(async (task: ImproveTask): Promise<Refined> => {
  const { work, start, sign, rounds, port, pixelUm, snapUm } = task;
  const drawing: AskedDrawing = {
    ...{ pixelUm, snapUm, snap: snapping(snapUm, pixelUm) },
    pictures: async (plate) => {
      const answer = once(port, 'message') as Promise<[readonly LayerPicture[] | null]>;
      port.postMessage(plate);
      const [pictures] = await answer;
      if (!pictures) throw new Error('The drawing could not be made.');
      return pictures;
    },
  };
  try {
    return await refine(work, start, sign, drawing, rounds, async () => {});
  } finally {
    port.close();
  }
});
