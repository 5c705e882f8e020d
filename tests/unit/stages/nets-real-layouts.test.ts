/**
 * Nets of real, openly licensed layouts: what their README and libraries state. Sources: the label counts in
 * ../shared/data/README.md; IHP Open PDK and GF180MCU PDK (Apache-2.0) for the layers, in tests/fixtures/process.
 */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { boundsUm, labelsInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { openLayout } from '../../../pipeline/formats/layout/registry.ts';
import type { DrawnLayer } from '../../../pipeline/formats/layout.ts';
import { connectDrawing, type DrawnNets } from '../../../pipeline/stages/connect/connect-drawing.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';
import { readYaml } from '../../../shared/artefacts/read.ts';
import type { Box } from '../../../shared/polygon.ts';
import { REAL_FILES_MISSING, realFile } from '../../fixtures/layout/real-files.ts';
import { type DrawnCell, drawLayout } from '../../fixtures/nets/draw-layout.ts';

const processOf = (name: string) => {
  const file = join(import.meta.dirname, '..', '..', 'fixtures', 'process', name);
  return readYaml(readFileSync(file, 'utf8'), name, processSchema);
};

async function trace(file: string, process: string, windowUm?: Box) {
  const { layout, top } = await openLayout(realFile(file));
  const drawn = connectDrawing(layout, top, processOf(process), windowUm ?? boundsUm(layout, top)!);
  return { layout, top, drawn };
}

const netNamed = (drawn: DrawnNets, name: string) => drawn.nets.filter((net) => net.name === name);

describe.skipIf(REAL_FILES_MISSING)(`real layouts${REAL_FILES_MISSING}`, () => {
  it('give every named pin of the counter board a net of its own, with supply and ground apart', async () => {
    const { layout, top, drawn } = await trace('sg13g2_counter_board.gds', 'sg13g2.yaml');
    expect(drawn.doubts).toEqual([]);
    // 7 labels on Metal3, 2 on TopMetal1, 2 on TopMetal2: the pins, with VDD and VSS on both thick metals.
    const labels = [...labelsInWindow(layout, top, boundsUm(layout, top)!)].filter(
      ({ cellPath, drawn: d }) => cellPath.length === 1 && ['30/25', '126/25', '134/25'].includes(d),
    );
    expect(labels).toHaveLength(11);
    const pins = new Set(labels.map(({ text }) => text));
    expect(pins.size).toBe(9);
    for (const pin of pins) {
      const [net, ...more] = netNamed(drawn, pin);
      expect(more, pin).toEqual([]);
      expect(net!.names, pin).toEqual([pin]);
    }
    const [vdd, vss] = ['VDD', 'VSS'].map((name) => netNamed(drawn, name)[0]!.shapes.length);
    expect(vdd! + vss!).toBeGreaterThan(0.8 * drawn.store.count);
  });

  it('keep the rails of every standard cell on the supply and ground of the board', async () => {
    const { layout, top, drawn } = await trace('sg13g2_counter_board.gds', 'sg13g2.yaml');
    const found = { VDD: 0, VSS: 0 };
    for (const label of labelsInWindow(layout, top, boundsUm(layout, top)!, new Set<DrawnLayer>(['8/25']))) {
      if (label.text !== 'VDD' && label.text !== 'VSS') continue;
      expect(drawn.netsAt('metal1', [label.xUm, label.yUm, label.xUm, label.yUm])).toEqual([label.text]);
      found[label.text]++;
    }
    expect(found.VDD).toBeGreaterThan(100);
    expect(found.VSS).toBe(found.VDD);
  });

  it('tell the supplies of the memory apart, and its word lines from each other', async () => {
    const { drawn } = await trace('sg13g2_sram_256x8.gds', 'sg13g2.yaml');
    for (const supply of ['VDD!', 'VDDARRAY!', 'VSS!']) {
      const nets = netNamed(drawn, supply);
      expect(nets, supply).toHaveLength(1);
      expect(nets[0]!.names).toEqual([supply]);
    }
    // 56 labels on Metal4: every pin once or several times, none on two nets.
    const named = drawn.nets.filter((net) => net.from === 'label');
    expect(new Set(named.map((net) => net.name)).size).toBe(named.length);
  });

  it('give the routed block the nets that its labels on Metal1 to Metal4 name', async () => {
    const { layout, top, drawn } = await trace('gf180_w_io.gds', 'gf180mcu.yaml');
    const one = (name: string) => expect(netNamed(drawn, name), name).toHaveLength(1);
    one('VDD');
    one('VSS');
    const own = [...labelsInWindow(layout, top, boundsUm(layout, top)!)].filter(
      ({ cellPath, drawn: d }) => cellPath.length === 1 && /^(34|36|42|46)\/(0|10)$/.test(d),
    );
    expect(own.length).toBeGreaterThan(700);
    for (const net of drawn.nets) expect(net.names.length, net.names.join()).toBeLessThanOrEqual(1);
    const texts = new Set(own.map(({ text }) => text));
    const names = new Set(drawn.nets.flatMap((net) => net.names));
    expect([...texts].filter((text) => !names.has(text))).toEqual([]);
  });

  it('leave what a window shows of a net within that net', async () => {
    const whole = (await trace('sg13g2_counter_board.gds', 'sg13g2.yaml')).drawn;
    const part = (await trace('sg13g2_counter_board.gds', 'sg13g2.yaml', [40, 40, 60, 60])).drawn;
    expect(part.nets.length).toBeGreaterThan(20);
    const key = (drawn: DrawnNets, n: number) => drawn.store.boxes.subarray(4 * n, 4 * n + 4).join();
    const layer = (drawn: DrawnNets, n: number) =>
      drawn.store.layers.findLastIndex((_, l) => drawn.store.layerStarts[l]! <= n);
    const there = new Map(
      [...whole.netOf].map((net, n) => [`${layer(whole, n)} ${key(whole, n)}`, net] as const),
    );
    for (const net of part.nets) {
      const nets = new Set([...net.shapes].map((n) => there.get(`${layer(part, n)} ${key(part, n)}`)));
      expect(nets.size, net.name).toBe(1);
    }
  });
});

/** @source Oklahoma State University standard cells, LEF in Debian's package qflow-tech-osu018. */
const LEF = '/usr/share/qflow/tech/osu018/osu018_stdcells.lef';
const LEF_MISSING = existsSync(LEF) ? '' : ' (skipped: the package qflow-tech-osu018 is not installed)';

describe.skipIf(LEF_MISSING)(`standard cells of the OSU library${LEF_MISSING}`, () => {
  it('have one net for each pin that their LEF states, and none for two', async () => {
    const macros = readMacros(readFileSync(LEF, 'utf8'));
    expect(macros.length).toBeGreaterThan(30);
    const process = processSchema.parse({
      name: 'OSU, two metals',
      layers: [
        { name: 'metal1', role: 'conductor', bottom_um: 0, thickness_um: 1, drawn: ['1/0'], labels: ['1/9'] },
        { name: 'via', role: 'via', bottom_um: 1, thickness_um: 1, drawn: ['2/0'] },
        { name: 'metal2', role: 'conductor', bottom_um: 2, thickness_um: 1, drawn: ['3/0'], labels: ['3/9'] },
      ],
    });
    let pins = 0;
    for (const { name, rects } of macros) {
      const layout = await drawLayout([cellOf(name, rects)]);
      const drawn = connectDrawing(layout, name, process, [-100, -100, 100, 100]);
      const stated = new Set(rects.map((rect) => rect.pin));
      expect(
        drawn.nets.map((net) => net.names),
        name,
      ).toEqual(drawn.nets.map((net) => [net.name]));
      expect(drawn.nets.map((net) => net.name).sort(), name).toEqual([...stated].sort());
      pins += stated.size;
    }
    expect(pins).toBeGreaterThan(150);
  });
});

interface Rect {
  readonly pin: string;
  readonly layer: number;
  readonly box: readonly [number, number, number, number];
}

const NUMBERS = new Map([
  ['metal1', 1],
  ['via', 2],
  ['metal2', 3],
]);

/** Rectangles of the pins on both metals and the vias between, some pins needing those to hang together. @source LEF/DEF 5.x Language Reference: MACRO, PIN, PORT, LAYER, RECT. */
function readMacros(text: string): { name: string; rects: Rect[] }[] {
  const macros: { name: string; rects: Rect[] }[] = [];
  let pin: string | null = null;
  let layer: number | undefined;
  for (const line of text.split('\n')) {
    const [word, ...rest] = line.trim().split(/\s+/);
    if (word === 'MACRO') macros.push({ name: rest[0]!, rects: [] });
    else if (word === 'PIN') pin = rest[0]!;
    else if (word === 'END' && rest[0] === pin) pin = null;
    else if (word === 'LAYER') layer = NUMBERS.get(rest[0]!);
    else if (word === 'RECT' && pin !== null && layer !== undefined) {
      const box = rest.slice(0, 4).map((v) => Math.round(Number(v) * 1000));
      macros.at(-1)!.rects.push({ pin, layer, box: box as unknown as Rect['box'] });
    }
  }
  return macros.filter(({ rects }) => rects.length > 0);
}

/** Every rectangle of a metal carries the name of its pin as a label. */
const cellOf = (name: string, rects: readonly Rect[]): DrawnCell => ({
  name,
  boxes: rects.map(({ layer, box }) => [layer, ...box] as const),
  labels: rects
    .filter(({ layer }) => layer !== 2)
    .map(({ pin, layer, box: [x0, y0, x1, y1] }) => [
      pin,
      layer,
      Math.round((x0 + x1) / 2),
      Math.round((y0 + y1) / 2),
    ]),
});
