/** process.yaml: the process stack, and the checks that a stack must pass to be physical. */
import { z } from 'zod';
import { drawnLayerSchema } from './campaign.ts';

export const roleSchema = z.enum(['conductor', 'via', 'other']);
export type LayerRole = z.output<typeof roleSchema>;

export const processLayerSchema = z.strictObject({
  name: z.string().regex(/^[A-Za-z][A-Za-z0-9_-]*$/, 'a name of letters, digits, _ and -'),
  role: roleSchema,
  bottom_um: z.number().describe('Height of the lower face above the silicon.'),
  thickness_um: z.number().positive(),
  material: z.string().optional(),
  drawn: z.array(drawnLayerSchema).default([]).describe('Drawn layers whose union is this layer.'),
  labels: z.array(drawnLayerSchema).optional().describe('Drawn layers with the net names.'),
  fill: z.array(drawnLayerSchema).optional().describe('Drawn layers that hold fill shapes.'),
  joins: z
    .tuple([z.string(), z.string()])
    .or(z.array(z.string()).min(2))
    .optional()
    .describe('Conductors a via joins; left out: the nearest below and the nearest above.'),
});

export const ruleSchema = z.strictObject({
  width_um: z.number().positive().optional(),
  space_um: z.number().positive().optional(),
  size_um: z.number().positive().optional(),
});

export const processSchema = z.strictObject({
  name: z.string().min(1),
  layers: z.array(processLayerSchema).min(1).superRefine(checkLayers),
  rules: z.record(z.string(), ruleSchema).optional().describe('Drawn minimums, for the measurement report.'),
});

export type Process = z.output<typeof processSchema>;
export type ProcessLayer = z.output<typeof processLayerSchema>;

const topUm = (layer: ProcessLayer): number => layer.bottom_um + layer.thickness_um;

/** Overlap that rounding in a process table explains, as a share of the thinner layer. */
const OVERLAP_TOLERANCE = 0.05;

function checkLayers(layers: ProcessLayer[], context: z.RefinementCtx): void {
  layers.forEach((layer, n) => {
    if (layers.findIndex((other) => other.name === layer.name) < n) {
      context.addIssue({
        code: 'custom',
        path: [n, 'name'],
        message: `a name of its own; "${layer.name}" is taken`,
      });
    }
    for (const joined of layer.joins ?? []) {
      if (!layers.some((other) => other.name === joined && other.role === 'conductor')) {
        context.addIssue({
          code: 'custom',
          path: [n, 'joins'],
          message: `conductors of this stack; "${joined}" is none`,
        });
      }
    }
    for (const other of layers.slice(0, n)) {
      const conflict = overlap(layer, other);
      if (conflict) context.addIssue({ code: 'custom', path: [n, 'bottom_um'], message: conflict });
    }
  });
}

/**
 * Conductors must lie one above the other. A via may stand beside a conductor that lies wholly within its height (a
 * contact to the diffusion beside the gate), but may not end inside one.
 */
function overlap(a: ProcessLayer, b: ProcessLayer): string | null {
  if (a.role === 'other' || b.role === 'other' || (a.role === 'via' && b.role === 'via')) return null;
  const shared = Math.min(topUm(a), topUm(b)) - Math.max(a.bottom_um, b.bottom_um);
  if (shared <= OVERLAP_TOLERANCE * Math.min(a.thickness_um, b.thickness_um)) return null;
  if (a.role !== b.role) {
    const [via, metal] = a.role === 'via' ? [a, b] : [b, a];
    const slack = OVERLAP_TOLERANCE * metal.thickness_um;
    if (via.bottom_um <= metal.bottom_um + slack && topUm(via) >= topUm(metal) - slack) return null;
  }
  return (
    `layers that do not overlap; "${a.name}" (${range(a)}) and "${b.name}" (${range(b)}) share ` +
    `${shared.toFixed(3)} µm of height`
  );
}

const range = (layer: ProcessLayer): string =>
  `${layer.bottom_um.toFixed(3)} to ${topUm(layer).toFixed(3)} µm`;

/** Layers from the silicon up; equal bottoms keep their order in the file. */
export const layersUpward = (process: Process): ProcessLayer[] =>
  [...process.layers].sort((a, b) => a.bottom_um - b.bottom_um);

/** Names of the conductors that a via joins: as stated, or the nearest below its middle and the nearest above. */
export function joinedConductors(process: Process, via: ProcessLayer): string[] {
  if (via.joins) return [...via.joins];
  const conductors = process.layers.filter((layer) => layer.role === 'conductor');
  const middle = via.bottom_um + via.thickness_um / 2;
  const centre = (layer: ProcessLayer) => layer.bottom_um + layer.thickness_um / 2;
  const below = conductors.filter((c) => centre(c) < middle).sort((a, b) => topUm(b) - topUm(a))[0];
  const above = conductors.filter((c) => centre(c) >= middle).sort((a, b) => a.bottom_um - b.bottom_um)[0];
  return [below, above].flatMap((layer) => (layer ? [layer.name] : []));
}
