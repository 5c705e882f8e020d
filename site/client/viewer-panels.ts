/** Opens the panels of a viewer that have data, and joins them: a finding leads to its nets, a net to its findings. */
import type { NetPlace } from '../lib/permalink.ts';
import { attachEmbed } from './embed.ts';
import { attachFigures } from './figure/attach.ts';
import { FindingsPanel } from './findings-panel.ts';
import { attachLesson } from './lesson-host.ts';
import { attachMeasuring } from './measure/attach.ts';
import type { LitNet } from './net-data.ts';
import { NetPanel } from './net-panel.ts';
import { SidePanels } from './side-panels.ts';
import type { ViewerHost } from './viewer-host.ts';
import { showWithheld } from './withheld-outlines.ts';

export interface Panels {
  /** @param go whether the views move to the finding, because the address names no place */
  readonly restore: (finding: string | null, net: NetPlace | null, go: boolean) => void;
  readonly lit: () => LitNet | null;
}

/** @returns null where the scan has neither findings nor nets, or their files cannot be had */
export async function openPanels(host: ViewerHost): Promise<Panels | null> {
  showWithheld(host);
  attachEmbed(host.element);
  attachLesson(host);
  const side = (name: string): HTMLElement | null =>
    host.element.querySelector<HTMLElement>(`[data-side="${name}"]`);
  const [forFindings, forNets] = [side('findings'), side('nets')];
  const sides = new SidePanels(host.element);
  attachMeasuring(host, sides);
  attachFigures(host);
  if (!forFindings && !forNets) return null;
  // One that fails must not take the viewer with it: pictures and depth work without.
  const [findings, nets] = await Promise.all([
    forFindings ? FindingsPanel.open(host, sides, forFindings).catch(() => null) : null,
    forNets ? NetPanel.open(host, sides, forNets).catch(() => null) : null,
  ]);
  for (const [name, panel] of [
    ['findings', findings],
    ['nets', nets],
  ] as const) {
    if (!panel) host.element.querySelector(`button[data-panel="${name}"]`)?.remove();
  }
  if (findings && nets) {
    findings.onNet((name, finding) => nets.byName(name, finding));
    nets.join(
      (name) => findings.ofNet(name),
      (id) => findings.select(id, true),
    );
  }
  return {
    restore: (finding, net, go) => {
      if (nets) nets.atPlace(net, finding === null);
      findings?.select(finding, go);
    },
    lit: () => nets?.lit ?? null,
  };
}
