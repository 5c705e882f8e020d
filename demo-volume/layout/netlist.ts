/** Which pins belong together: a seeded netlist over the placed cells, the store, the bus and the pad. */
import type { Random } from '../random.ts';
import type { Pin, StandardCell } from './cells.ts';
import { ROW_TRACKS } from './drawn-layers.ts';
import { CORE, type Instance, MEMORY } from './floorplan.ts';
import { memoryBlock } from './memory.ts';

/** A place a net must reach: any one of the grid points, through a via from metal1, or on metal4 itself. */
export interface Terminal {
  readonly owner: string;
  readonly level: 'metal1' | 'metal4';
  readonly points: readonly (readonly [number, number])[];
}

export interface Net {
  readonly name: string;
  readonly terminals: readonly Terminal[];
}

/** Metal4 grid points where the wide wires and the pad of the top metal come down. */
export const TOP_TERMINALS: readonly { readonly net: string; readonly at: readonly [number, number] }[] = [
  { net: 'level_out0', at: [24, 25] },
  { net: 'level_out1', at: [28, 28] },
  { net: 'level_out2', at: [44, 31] },
  { net: 'level_out3', at: [48, 34] },
];
export const PAD_TERMINAL = { net: 'tide_in', at: [44, 45] } as const;
export const CLOCK_NET = 'tick_clk';

const MAX_FANOUT = 2;
const REACH_TRACKS = 34;

function onGrid(instance: Instance, pin: Pin): [number, number][] {
  const sign = instance.mirrored ? -1 : 1;
  return pin.points.map(([c, t]) => [instance.x + c, instance.y + sign * t]);
}

interface End {
  readonly terminal: Terminal;
  readonly instance: string;
  readonly x: number;
  readonly y: number;
}

const middle = (terminal: Terminal, instance: string): End => {
  const points = terminal.points;
  const sum = points.reduce<[number, number]>((s, p) => [s[0] + p[0], s[1] + p[1]], [0, 0]);
  return { terminal, instance, x: sum[0] / points.length, y: sum[1] / points.length };
};

/** Net names in the manner of a designer who counts tides. */
function nameSource(random: Random): () => string {
  const first = ['tide', 'surge', 'wave', 'gauge', 'ebb', 'neap', 'spring', 'level', 'log', 'drift'];
  const second = ['cnt', 'acc', 'sum', 'reg', 'en', 'sel', 'cmp', 'hold', 'carry', 'next'];
  const all = first.flatMap((a) => second.flatMap((b) => [0, 1, 2].map((n) => `${a}_${b}${n}`)));
  const order = random.shuffle(all);
  let used = 0;
  return () => order[used++ % order.length] as string;
}

/** Connects every input to an output nearby; the store, the bus, the pad and the clock join in. */
export function drawNetlist(
  instances: readonly Instance[],
  cells: Map<string, StandardCell>,
  random: Random,
): Net[] {
  const inputs: End[] = [];
  const outputs: End[] = [];
  const clocked: End[] = [];
  for (const instance of instances) {
    for (const pin of cells.get(instance.cell)?.pins ?? []) {
      const owner = `${instance.name}/${pin.name}`;
      const end = middle({ owner, level: 'metal1', points: onGrid(instance, pin) }, instance.name);
      if (pin.name === 'CK') clocked.push(end);
      else (pin.direction === 'in' ? inputs : outputs).push(end);
    }
  }
  const at = [CORE.x + MEMORY.column, CORE.y + MEMORY.row * ROW_TRACKS] as const;
  const nameOf = new Map<End, string>();
  for (const pin of memoryBlock().pins) {
    const points = pin.points.map(([c, t]) => [at[0] + c, at[1] + t] as const);
    const end = middle({ owner: `STORE/${pin.net}`, level: 'metal1', points }, 'STORE');
    nameOf.set(end, pin.net);
    (pin.direction === 'in' ? inputs : outputs).push(end);
  }
  for (const { net, at: point } of TOP_TERMINALS) {
    const end = middle({ owner: `BUS/${net}`, level: 'metal4', points: [point] }, 'BUS');
    nameOf.set(end, net);
    inputs.push(end);
  }
  const pad = middle({ owner: 'PAD', level: 'metal4', points: [PAD_TERMINAL.at] }, 'PAD');
  nameOf.set(pad, PAD_TERMINAL.net);
  outputs.push(pad);

  const sinks = new Map<End, End[]>();
  for (const input of random.shuffle(inputs)) {
    const free = outputs
      .filter((o) => o.instance !== input.instance && (sinks.get(o)?.length ?? 0) < MAX_FANOUT)
      // A net has one name: two named ends (a word line and a bit line, say) are never joined.
      .filter(
        (o) => !nameOf.has(input) || (!nameOf.has(o) && !(sinks.get(o) ?? []).some((s) => nameOf.has(s))),
      )
      .filter((o) => !(nameOf.has(o) && (sinks.get(o) ?? []).length > 0))
      .map((o) => ({ o, far: Math.abs(o.x - input.x) + Math.abs(o.y - input.y) }))
      .sort((a, b) => a.far - b.far);
    const near = free.filter((f) => f.far <= REACH_TRACKS).slice(0, 16);
    const choice = near.length > 0 ? random.pick(near).o : free[0]?.o;
    if (choice) sinks.set(choice, [...(sinks.get(choice) ?? []), input]);
  }
  const nextName = nameSource(random);
  const nets: Net[] = [];
  for (const output of outputs) {
    const ends = sinks.get(output) ?? [];
    if (ends.length === 0) continue;
    const named = [output, ...ends].find((e) => nameOf.has(e));
    const name = (named && nameOf.get(named)) ?? nextName();
    nets.push({ name, terminals: [output.terminal, ...ends.map((e) => e.terminal)] });
  }
  const driver = outputs.find((o) => !sinks.has(o) && o.terminal.level === 'metal1');
  if (driver && clocked.length > 0)
    nets.push({ name: CLOCK_NET, terminals: [driver.terminal, ...clocked.map((e) => e.terminal)] });
  return nets;
}
