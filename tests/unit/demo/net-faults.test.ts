/**
 * Nets, opens and shorts of the demo over seeds, against what its generator says: its own netlist checker and the faults
 * it chose. The generator shares no code with the pipeline but the units.
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { fabricate } from '../../../demo-volume/fabricate.ts';
import { FAULT_PLAN } from '../../../demo-volume/faults.ts';
import { encodeGds } from '../../../demo-volume/gds/encoder.ts';
import { drawChip } from '../../../demo-volume/layout/chip.ts';
import { flatten } from '../../../demo-volume/layout/flatten.ts';
import { readStack } from '../../../demo-volume/process-stack.ts';
import { boundsUm } from '../../../pipeline/formats/layout/flatten.ts';
import { openLayout } from '../../../pipeline/formats/layout/registry.ts';
import { connectDrawing } from '../../../pipeline/stages/connect/connect-drawing.ts';
import { faultsFromFindings } from '../../../pipeline/stages/connect/faults-from-findings.ts';
import { traceWindow } from '../../../pipeline/stages/connect/trace-window.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';
import { readYaml } from '../../../shared/artefacts/read.ts';
import type { Box } from '../../../shared/polygon.ts';
import { finding } from '../../fixtures/nets/finding.ts';

const PROCESS = join(import.meta.dirname, '..', '..', '..', 'demo-volume', 'process.yaml');
const folder = mkdtempSync(join(tmpdir(), 'stratafolio-demo-nets-'));
afterAll(() => rmSync(folder, { recursive: true }));

/** A field over the middle of the die; the demo's own is turned and tilted, which changes no net. */
const FIELD_UM: Box = [8, 8, 27, 24];

async function demo(seed: number) {
  const stack = readStack(PROCESS);
  const chip = drawChip(seed);
  const flat = flatten(chip.library, chip.top, 'the drawing');
  const [x0, y0, x1, y1] = FIELD_UM;
  const field = {
    map: [
      [0.05, 0, 0, x0],
      [0, 0.05, 0, y0],
      [0, 0, 0.05, 0],
    ],
    shape: [Math.round((x1 - x0) / 0.05), Math.round((y1 - y0) / 0.05), 140],
    voxelUm: [0.05, 0.05, 0.05],
    bend: null,
  } as const;
  const made = fabricate(flat, stack.layers, field, {
    seed,
    fill: false,
    faults: FAULT_PLAN,
    region: FIELD_UM,
    thicknessSd: null,
  });
  const file = join(folder, `${seed}.gds`);
  writeFileSync(file, encodeGds(chip.library));
  const { layout, top } = await openLayout(file);
  const process = readYaml(readFileSync(PROCESS, 'utf8'), 'process.yaml', processSchema);
  return { chip, made, layout, top, process };
}

describe('the demo', () => {
  it.each([1, 2, 3, 5, 8, 13])('seed %i: nets as its generator joined them', async (seed) => {
    const { made, layout, top, process } = await demo(seed);
    const drawn = connectDrawing(layout, top, process, boundsUm(layout, top)!);
    expect(drawn.doubts).toEqual([]);
    const conductors = new Set(made.drawn.conductor);
    expect(drawn.nets).toHaveLength(conductors.size);
    const named = [...made.drawn.names.values()].flat();
    const names = drawn.nets.filter((net) => net.from === 'label').map((net) => net.name);
    expect(names.length).toBeGreaterThan(30);
    for (const name of names) expect(named).toContain(name);
  });

  it.each([1, 2, 3, 5, 8, 13])('seed %i: opens and shorts as its faults make them', async (seed) => {
    const { made, layout, top, process } = await demo(seed);
    const { drawn, whole } = traceWindow(layout, top, process, FIELD_UM);
    const found = made.faults.map((fault) => {
      const box = fault.box.map((v) => v * 1000) as [number, number, number, number];
      return finding(fault.kind, fault.layer, box, 0.95);
    });
    const { opens, shorts } = faultsFromFindings(drawn, found, { whole });
    // A contact to the silicon parts nothing that the process table knows of.
    const broken = made.faults.filter(
      ({ kind, layer, box }) =>
        kind === 'open' ||
        (kind === 'missing-via' && (layer !== 'contact' || made.drawn.near('poly', box).length > 0)),
    );
    const bridges = made.faults.filter(({ kind }) => kind === 'bridge');
    expect(broken.length + bridges.length).toBeGreaterThan(2);
    const names = (nets: readonly string[]) => [...nets].sort().join(' and ');
    expect([...new Set(opens.map(({ nets }) => names(nets)))].sort()).toEqual(
      [...new Set(broken.map(({ nets }) => names(nets)))].sort(),
    );
    expect(shorts.map(({ nets }) => names(nets)).sort()).toEqual(
      bridges.map(({ nets }) => names(nets)).sort(),
    );
    for (const fault of [...opens, ...shorts]) expect(fault.may_join_outside).toBe(false);
  });
});
