/** Whether nets can be judged on a scan, and what the findings say of them. */
import type { Findings } from '../../../shared/artefacts/findings.ts';
import type { Nets } from '../../../shared/artefacts/nets.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import { layerOf } from './collect-shapes.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { effectOf } from './effects.ts';
import { faultsFromFindings } from './faults-from-findings.ts';
import type { TracedWindow } from './trace-window.ts';

export interface NetFaults {
  readonly opens: Nets['opens'];
  readonly shorts: Nets['shorts'];
  readonly judged: boolean;
  readonly doubts: readonly string[];
}

/**
 * @param findings null where the scan was not compared with the drawing
 * @param leavesField whether a shape reaches out of the field the scan shows
 */
export function judgeNets(
  { drawn, whole }: TracedWindow,
  findings: Findings | null,
  placement: Pick<Placement, 'verdict'>,
  leavesField: (shape: number) => boolean,
): NetFaults {
  if (placement.verdict !== 'locked') return unjudged('it is not certain where on the die the scan lies');
  if (!findings) return { opens: [], shorts: [], judged: false, doubts: [] };
  const faults = faultsFromFindings(drawn, findings.findings, { leavesField, whole });
  const uncertain = [...faults.opens, ...faults.shorts].filter((fault) => fault.may_join_outside).length;
  return {
    ...faults,
    judged: true,
    doubts: [...siliconDoubt(drawn, findings), ...outsideDoubt(uncertain)],
  };
}

const unjudged = (why: string): NetFaults => ({
  opens: [],
  shorts: [],
  judged: false,
  doubts: [`Opens and shorts were not looked for: ${why}.`],
});

const outsideDoubt = (uncertain: number): string[] =>
  uncertain === 0
    ? []
    : [
        `${uncertain === 1 ? 'One open or short hangs' : `${uncertain} opens or shorts hang`} on wiring outside the ` +
          'field, which was too much to follow.',
      ];

/** A via that touches a conductor on one side only goes to something that is no layer of the process table. */
function siliconDoubt(drawn: DrawnNets, findings: Findings): string[] {
  const { store, contacts } = drawn;
  const ending = findings.findings.filter((finding) => {
    const effect = effectOf(drawn, finding);
    if (effect?.kind !== 'removed') return false;
    const sides = effect.shapes.flatMap((shape) =>
      Array.from(contacts.neighbours.subarray(contacts.starts[shape], contacts.starts[shape + 1]), (n) =>
        layerOf(store, n),
      ),
    );
    return new Set(sides).size === 1;
  }).length;
  if (ending === 0) return [];
  const [one, many] = ['One missing via leads', `${ending} missing vias lead`];
  return [
    `${ending === 1 ? one : many} to something that is no conductor of the process table, such as silicon: ` +
      'what that parts is not known, and it is not counted among the opens.',
  ];
}
