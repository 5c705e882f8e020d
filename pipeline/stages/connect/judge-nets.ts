/** Whether nets can be judged on a scan, and what the findings say of them. */
import type { Findings } from '../../../shared/artefacts/findings.ts';
import type { Nets } from '../../../shared/artefacts/nets.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { Process } from '../../../shared/artefacts/process.ts';
import { boundsUm, countShapes } from '../../formats/layout/flatten.ts';
import type { Layout } from '../../formats/layout.ts';
import { netLayers } from './collect-shapes.ts';
import { connectDrawing, type DrawnNets } from './connect-drawing.ts';
import { faultsFromFindings } from './faults-from-findings.ts';
import type { Withheld } from './withheld.ts';

export interface NetFaults {
  readonly opens: Nets['opens'];
  readonly shorts: Nets['shorts'];
  readonly judged: boolean;
  readonly doubts: readonly string[];
}

/** Up to this many shapes the whole layout is followed to see whether two ends meet outside the window. */
const MOST_FOLLOWED = 400_000;

/**
 * @param findings null where the scan was not compared with the drawing
 * @param leavesField whether a shape reaches out of the field the scan shows
 */
export function judgeNets(
  drawn: DrawnNets,
  findings: Findings | null,
  placement: Pick<Placement, 'verdict'>,
  leavesField: (shape: number) => boolean,
  drawing: { readonly layout: Layout; readonly top: string; readonly process: Process },
  withheld: Withheld = {},
): NetFaults {
  if (placement.verdict !== 'locked') return unjudged('it is not certain where on the die the scan lies');
  if (!findings) return { opens: [], shorts: [], judged: false, doubts: [] };
  let wide: DrawnNets | null | undefined;
  const wider = () => {
    if (wide === undefined) wide = wholeDrawing(drawing, withheld);
    return wide;
  };
  const faults = faultsFromFindings(drawn, findings.findings, { leavesField, wider });
  const uncertain = [...faults.opens, ...faults.shorts].filter((fault) => fault.may_join_outside).length;
  return {
    ...faults,
    judged: true,
    doubts:
      uncertain === 0
        ? []
        : [`${uncertain} opens or shorts hang on wiring outside the field that was not followed.`],
  };
}

const unjudged = (why: string): NetFaults => ({
  opens: [],
  shorts: [],
  judged: false,
  doubts: [`Opens and shorts were not looked for: ${why}.`],
});

function wholeDrawing(
  { layout, top, process }: { layout: Layout; top: string; process: Process },
  withheld: Withheld,
): DrawnNets | null {
  const used = new Set(netLayers(process, withheld).flatMap((layer) => layer.drawn));
  const box = boundsUm(layout, top);
  let shapes = 0;
  for (const [drawn, count] of countShapes(layout, top)) if (used.has(drawn)) shapes += count.flat;
  return box && shapes <= MOST_FOLLOWED ? connectDrawing(layout, top, process, box, withheld) : null;
}
