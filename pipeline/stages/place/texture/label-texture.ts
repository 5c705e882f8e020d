/** From a stack laid by texture to what layers.json says, in the frame of the scan. */
import type { LayerSpan, Layers, PlateLabel } from '../../../../shared/artefacts/layers.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import type { PlatePlan } from '../plan-plates.ts';
import type { TextureStack } from './stack-by-texture.ts';

/** An order is stated when it is as sure as this. */
const SURE = 0.95;

/** The frame of the scan turned over, if the likelier order asks for it, so that heights rise from the silicon. */
export function turnedUpward(placement: Placement, stack: TextureStack, nz: number): Placement {
  const topFirst = stack.topFirst >= 0.5;
  const sure = Math.max(stack.topFirst, 1 - stack.topFirst) >= SURE;
  const order = sure ? (topFirst ? 'top-first' : 'bottom-first') : placement.order;
  const [x, y, [g, h, i, t]] = placement.voxel_to_die_um;
  if (i < 0 === topFirst) return { ...placement, order };
  return { ...placement, order, voxel_to_die_um: [x, y, [-g, -h, -i, (nz - 1) * i + 2 * t]] };
}

/**
 * `confidence` of a plate: the probability of its layer, all ways of laying the stack and both orders of the slices
 * together; a plate is given a name only where one is likelier than all others together. `confidence` of a layer: the
 * same at its middle.
 */
export function labelByTexture(
  process: Process,
  stack: TextureStack,
  placement: Placement,
  plan: PlatePlan,
): { layers: Layers; doubts: string[] } {
  const nz = plan.zUm.length;
  const height = (slice: number): number =>
    plan.zUm[0]! +
    ((slice - plan.slice[0]!) / (plan.slice.at(-1)! - plan.slice[0]! || 1)) *
      (plan.zUm.at(-1)! - plan.zUm[0]!);
  const step = plan.stepUm;
  const layers = process.layers.map((layer, l): LayerSpan => {
    const face = stack.faces[l]!;
    const [bottom, top] = [height(face.bottom), height(face.top)];
    const middle = Math.round((face.bottom + face.top) / 2);
    const outside = Math.max(face.bottom, face.top) <= -0.5 || Math.min(face.bottom, face.top) >= nz - 0.5;
    const within = (slice: number) => slice >= -0.5 && slice <= nz - 0.5;
    return {
      name: layer.name,
      role: layer.role,
      bottom_um: bottom,
      top_um: top,
      sd_um: (Math.hypot(face.bottomSd, face.topSd) / Math.SQRT2) * step,
      bottom_sd_um: face.bottomSd * step,
      top_sd_um: face.topSd * step,
      nominal_bottom_um: layer.bottom_um,
      nominal_top_um: layer.bottom_um + layer.thickness_um,
      confidence: middle >= 0 && middle < nz ? Math.min(1, stack.at[l]![middle]!) : 0,
      seen: outside ? 'outside' : within(face.bottom) && within(face.top) ? 'whole' : 'cut',
    };
  });
  const plates = plan.zUm.map((z_um, index): PlateLabel => {
    const slice = plan.slice[index]!;
    const odds = process.layers.map(
      (_, l) => stack.at[l]![Math.min(nz - 1, Math.max(0, Math.round(slice)))]!,
    );
    let best = 0;
    // Of layers that share a height the conductor is named, as with a drawing.
    odds.forEach((p, l) => {
      const better = process.layers[l]!.role === 'conductor' && process.layers[best]!.role !== 'conductor';
      if (p > odds[best]! + (better ? -1e-9 : 1e-9)) best = l;
    });
    const likely = Math.min(1, odds[best]!);
    return likely > 0.5
      ? { index, z_um, slice, layer: process.layers[best]!.name, confidence: likely }
      : { index, z_um, slice, layer: null, confidence: 0 };
  });
  const named = plates.filter((plate) => plate.layer !== null);
  const sure = named.filter((plate) => plate.confidence >= 0.9).length;
  const doubts = [
    `Layers were told from the texture of the slices and the process table alone: ${sure} of ${nz} plates are named ` +
      `with a probability of nine in ten or more, ${nz - named.length} are not named.`,
  ];
  if (placement.order === 'unknown')
    doubts.push(
      `Whether the first slice lies at the top or at the bottom could not be told ` +
        `(probability ${stack.topFirst.toFixed(2)} for the top).`,
    );
  const rise = Math.abs(stack.tilt[0]) * plan.grid.width_px + Math.abs(stack.tilt[1]) * plan.grid.height_px;
  if (rise > 3)
    doubts.push(
      `The layers lie tilted in the scan, by about ${rise.toFixed(0)} slices over the field: names hold for its middle.`,
    );
  return { layers: { version: 1, basis: 'measured', layers, plates }, doubts };
}
