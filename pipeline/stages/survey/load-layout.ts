/** The layout of a campaign: opened, matched against the process table, its facts gathered. */
import { createHash } from 'node:crypto';
import { readFile, stat } from 'node:fs/promises';
import { resolve } from 'node:path';
import type { Box } from '../../../shared/polygon.ts';
import { boundsUm, countShapes } from '../../formats/layout/flatten.ts';
import { openLayout } from '../../formats/layout/registry.ts';
import type { DrawnLayer, Layout } from '../../formats/layout.ts';
import { fitLayout, type LayoutFit } from './layout-checks.ts';
import { type LoadedCampaign, missingNamed } from './load-campaign.ts';

export interface LoadedLayout {
  readonly layout: Layout;
  readonly top: string;
  /** File as campaign.yaml names it. */
  readonly file: string;
  readonly bytes: number;
  readonly sha256: string;
  readonly boxUm: Box | null;
  /** Shape counts by drawn layer: as stored, and with all references opened out. */
  readonly shapes: ReadonlyMap<DrawnLayer, { readonly stored: number; readonly flat: number }>;
  /** null where there is no process table to fit. */
  readonly fit: LayoutFit | null;
}

/** @returns null when the campaign has no layout */
export async function loadLayout(loaded: LoadedCampaign): Promise<LoadedLayout | null> {
  const named = loaded.campaign.chip.layout;
  if (!named) return null;
  const path = resolve(loaded.folder, named.file);
  await stat(path).catch((cause) => {
    throw missingNamed(named.file, 'chip.layout.file', cause);
  });
  const { layout, top } = await openLayout(path, named.top === undefined ? {} : { top: named.top });
  const shapes = countShapes(layout, top);
  const flat = new Map([...shapes].map(([drawn, count]) => [drawn, count.flat] as const));
  const fit = loaded.process
    ? fitLayout(loaded.process, loaded.campaign.chip.process ?? 'process.yaml', named.file, flat)
    : null;
  const data = await readFile(path);
  return {
    layout,
    top,
    file: named.file,
    bytes: data.length,
    sha256: createHash('sha256').update(data).digest('hex'),
    boxUm: boundsUm(layout, top),
    shapes,
    fit,
  };
}
