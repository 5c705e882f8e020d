/**
 * Faults of fabrication, chosen from the seed and the drawing alone, before anything is imaged: a missing via, an
 * open wire, a bridge between neighbours, an extra blob, a narrowed wire.
 */
import { boxesMeet, boxRing, type Field, grown, inField } from './field.ts';
import type { ConductorShape, Connectivity } from './layout/connectivity.ts';
import type { Box } from './layout/flatten.ts';
import type { Ring } from './layout/library.ts';
import type { StackLayer } from './process-stack.ts';
import type { Random } from './random.ts';

/** The last three only where they are asked for. */
export type FaultKind =
  | 'missing-via'
  | 'open'
  | 'bridge'
  | 'extra-shape'
  | 'narrow'
  | 'missing-shape'
  | 'extra-via'
  | 'wide';

export interface Fault {
  readonly kind: FaultKind;
  readonly layer: string;
  /** Where the drawing and the chip differ, drawn coordinates. */
  readonly box: Box;
  readonly nets: readonly string[];
  readonly cuts: readonly Ring[];
  readonly extras: readonly Ring[];
}

export const FAULT_PLAN: readonly FaultKind[] = [
  ...(['missing-via', 'open', 'bridge', 'extra-shape', 'narrow', 'missing-via', 'open'] as const),
];

/** Faults keep clear of each other and of the rim of the field. */
const APART_UM = 1.5;
const RIM_UM = 1.2;
const TRIES = 400;

export interface FaultContext {
  readonly drawn: Connectivity;
  /** Boxes of the fill that the drawing holds, by layer: what is made of a fault must show beside them. */
  readonly fill: ReadonlyMap<string, readonly Box[]>;
  readonly stack: readonly StackLayer[];
  readonly field: Field;
  readonly random: Random;
}

interface Wire {
  readonly shape: ConductorShape;
  readonly index: number;
  /** 0: runs along x, 1: along y. */
  readonly axis: 0 | 1;
  readonly width: number;
  readonly from: number;
  readonly to: number;
}

/** A box made wider across the direction of its wire, so that nothing of the edge is left or missed. */
function grownAcross(box: Box, axis: 0 | 1, by: number): Box {
  return axis === 0 ? [box[0], box[1] - by, box[2], box[3] + by] : [box[0] - by, box[1], box[2] + by, box[3]];
}

/** Smallest width of the boxes on a layer, where the rules give none. */
export function leastWidth(drawn: Connectivity, layer: StackLayer): number {
  if (layer.widthUm !== undefined) return layer.widthUm;
  let least = Infinity;
  for (const shape of drawn.shapes)
    if (shape.layer === layer.name)
      least = Math.min(least, shape.box[2] - shape.box[0], shape.box[3] - shape.box[1]);
  return Number.isFinite(least) && least > 0 ? least : 0.2;
}

class FaultChooser {
  readonly #context: FaultContext;
  readonly #chosen: Fault[] = [];
  readonly #wires: Wire[];
  readonly #width: Map<string, number>;
  readonly #neighbours: Map<string, string[]>;

  constructor(context: FaultContext) {
    this.#context = context;
    const { drawn, stack } = context;
    this.#width = new Map(stack.map((l) => [l.name, leastWidth(drawn, l)]));
    this.#neighbours = new Map(
      stack.map((l, i) => [
        l.name,
        [stack[i - 1], stack[i + 1]].flatMap((n) => (n?.role === 'via' ? [n.name] : [])),
      ]),
    );
    this.#wires = this.#findWires();
  }

  get chosen(): readonly Fault[] {
    return this.#chosen;
  }

  #visible(layer: StackLayer): boolean {
    // Polysilicon can hardly be told from oxide: a fault in it could not be judged.
    return layer.role === 'conductor' && layer.material !== 'polysilicon';
  }

  #findWires(): Wire[] {
    const seen = new Set(this.#context.stack.filter((l) => this.#visible(l)).map((l) => l.name));
    const wires: Wire[] = [];
    this.#context.drawn.shapes.forEach((shape, index) => {
      if (!seen.has(shape.layer) || shape.ring.length !== 8) return;
      const [w, h] = [shape.box[2] - shape.box[0], shape.box[3] - shape.box[1]];
      const width = Math.min(w, h);
      if (Math.max(w, h) < 8 * width || width > 1.6 * (this.#width.get(shape.layer) as number)) return;
      const axis = w > h ? 0 : 1;
      wires.push({ shape, index, axis, width, from: shape.box[axis], to: shape.box[axis + 2] as number });
    });
    return wires;
  }

  #layer(name: string): StackLayer {
    return this.#context.stack.find((l) => l.name === name) as StackLayer;
  }

  #nets(...shapes: number[]): string[] {
    const { drawn } = this.#context;
    const names = shapes.flatMap((i) => drawn.names.get(drawn.conductor[i] as number) ?? []);
    return [...new Set(names)];
  }

  #clear(layer: string, box: Box): boolean {
    const { field } = this.#context;
    const l = this.#layer(layer);
    const z = l.bottomUm + l.thicknessUm / 2;
    const inside = [
      [box[0], box[1]],
      [box[2], box[3]],
    ].every(([x, y]) => inField(field, x as number, y as number, z, RIM_UM));
    const filled = this.#context.fill.get(layer)?.some((f) => boxesMeet(f, box));
    return inside && !filled && !this.#chosen.some((f) => boxesMeet(grown(f.box, APART_UM), box));
  }

  /** No via meets the box from above or below. */
  #viaFree(layer: string, box: Box): boolean {
    return (this.#neighbours.get(layer) ?? []).every(
      (via) => this.#context.drawn.near(via, box).length === 0,
    );
  }

  /** A stretch of `length` somewhere on a wire, as a box of the wire's own width. */
  #stretch(wire: Wire, length: number): Box | null {
    const { random } = this.#context;
    const room = wire.to - wire.from - length - 2 * wire.width;
    if (room <= 0) return null;
    const start = wire.from + wire.width + random.uniform() * room;
    const b = wire.shape.box;
    return wire.axis === 0 ? [start, b[1], start + length, b[3]] : [b[0], start, b[2], start + length];
  }

  #missingVia(): Fault | null {
    const { drawn, random, stack } = this.#context;
    const vias = new Set(stack.filter((l) => l.role === 'via').map((l) => l.name));
    const index = random.below(drawn.shapes.length);
    const shape = drawn.shapes[index];
    if (!shape || !vias.has(shape.layer)) return null;
    const width = this.#width.get(shape.layer) as number;
    // One of several side by side would not be missed by the circuit.
    if (drawn.near(shape.layer, grown(shape.box, 1.5 * width)).length > 1) return null;
    return this.#fault(
      'missing-via',
      shape.layer,
      shape.box,
      [index],
      [boxRing(grown(shape.box, width / 2))],
      [],
    );
  }

  #open(): Fault | null {
    const { drawn, random } = this.#context;
    if (this.#wires.length === 0) return null;
    const wire = random.pick(this.#wires);
    const box = this.#stretch(wire, random.between(1.2, 2) * wire.width);
    const { layer } = wire.shape;
    if (!box || drawn.near(layer, grown(box, 0.01)).length > 1) return null;
    if (!this.#viaFree(layer, grown(box, wire.width / 2))) return null;
    return this.#fault(
      'open',
      layer,
      box,
      [wire.index],
      [boxRing(grownAcross(box, wire.axis, wire.width / 4))],
      [],
    );
  }

  #narrow(): Fault | null {
    const { drawn, random } = this.#context;
    if (this.#wires.length === 0) return null;
    const wire = random.pick(this.#wires);
    const box = this.#stretch(wire, random.between(3, 4) * wire.width);
    const { layer } = wire.shape;
    if (!box || drawn.near(layer, grown(box, 0.01)).length > 1) return null;
    if (!this.#viaFree(layer, grown(box, wire.width / 2))) return null;
    const bite = 0.25 * wire.width;
    const side = (low: boolean): Box => {
      const b = [...box] as [number, number, number, number];
      const across = wire.axis === 0 ? 1 : 0;
      if (low) {
        b[across] -= bite;
        b[across + 2] = (box[across] as number) + bite;
      } else {
        b[across + 2] = (box[across + 2] as number) + bite;
        b[across] = (box[across + 2] as number) - bite;
      }
      return b;
    };
    return this.#fault('narrow', layer, box, [wire.index], [boxRing(side(true)), boxRing(side(false))], []);
  }

  #bridge(): Fault | null {
    const { drawn, random } = this.#context;
    if (this.#wires.length === 0) return null;
    const wire = random.pick(this.#wires);
    const across = wire.axis === 0 ? 1 : 0;
    const reach = 2.2 * wire.width;
    const others = this.#wires.filter((o) => {
      if (o.shape.layer !== wire.shape.layer || o.axis !== wire.axis) return false;
      if (drawn.conductor[o.index] === drawn.conductor[wire.index]) return false;
      const gap = (o.shape.box[across] as number) - (wire.shape.box[across + 2] as number);
      return gap > 0 && gap <= reach;
    });
    if (others.length === 0) return null;
    const other = random.pick(others);
    const low = Math.max(wire.from, other.from) + wire.width;
    const high = Math.min(wire.to, other.to) - wire.width;
    const length = random.between(1, 1.5) * wire.width;
    if (high - low < length) return null;
    const start = low + random.uniform() * (high - low - length);
    const [a, b] = [wire.shape.box[across + 2] as number, other.shape.box[across] as number];
    const box: Box = wire.axis === 0 ? [start, a, start + length, b] : [a, start, b, start + length];
    const { layer } = wire.shape;
    const touched = drawn.near(layer, grown(box, 0.01));
    if (touched.some((i) => i !== wire.index && i !== other.index)) return null;
    const patch = boxRing(grownAcross(box, wire.axis, wire.width / 5));
    return this.#fault('bridge', layer, box, [wire.index, other.index], [], [patch]);
  }

  #extra(): Fault | null {
    const { drawn, random, stack, field } = this.#context;
    const layer = random.pick(stack.filter((l) => this.#visible(l)));
    const width = this.#width.get(layer.name) as number;
    const [nx, ny, nz] = field.shape;
    const m = field.map;
    const at = (row: 0 | 1, i: number, j: number): number =>
      m[row][0] * i + m[row][1] * j + m[row][2] * (nz / 2) + m[row][3];
    const [i, j] = [random.uniform() * nx, random.uniform() * ny];
    const [x, y] = [at(0, i, j), at(1, i, j)];
    const ring: number[] = [];
    let box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let s = 0; s < 9; s++) {
      const r = width * random.between(0.8, 1.5);
      const [px, py] = [x + r * Math.cos((2 * Math.PI * s) / 9), y + r * Math.sin((2 * Math.PI * s) / 9)];
      ring.push(px, py);
      box = [Math.min(box[0], px), Math.min(box[1], py), Math.max(box[2], px), Math.max(box[3], py)];
    }
    if (drawn.near(layer.name, grown(box, width)).length > 0) return null;
    return this.#fault('extra-shape', layer.name, box, [], [], [ring]);
  }

  /** A short shape of its own that is not there at all. */
  #missingShape(): Fault | null {
    const { drawn, random, stack } = this.#context;
    const seen = new Set(stack.filter((l) => this.#visible(l)).map((l) => l.name));
    const index = random.below(drawn.shapes.length);
    const shape = drawn.shapes[index];
    if (!shape || !seen.has(shape.layer) || shape.ring.length !== 8) return null;
    const width = this.#width.get(shape.layer) as number;
    const [w, h] = [shape.box[2] - shape.box[0], shape.box[3] - shape.box[1]];
    if (Math.min(w, h) > 2 * width || Math.max(w, h) > 6 * width) return null;
    if (drawn.near(shape.layer, grown(shape.box, 0.01)).length > 1) return null;
    const cut = boxRing(grown(shape.box, width / 4));
    return this.#fault('missing-shape', shape.layer, shape.box, [index], [cut], []);
  }

  /** A via of the drawn size where none is drawn. */
  #extraVia(): Fault | null {
    const { drawn, random, stack } = this.#context;
    const vias = stack.filter((l) => l.role === 'via').map((l) => l.name);
    const model = drawn.shapes[random.below(drawn.shapes.length)];
    if (!model || !vias.includes(model.layer)) return null;
    const width = this.#width.get(model.layer) as number;
    const [dx, dy] = [random.between(-6, 6) * width, random.between(-6, 6) * width];
    const [x0, y0, x1, y1] = model.box;
    const box: Box = [x0 + dx, y0 + dy, x1 + dx, y1 + dy];
    if (drawn.near(model.layer, grown(box, width)).length > 0) return null;
    return this.#fault('extra-via', model.layer, box, [], [], [boxRing(box)]);
  }

  /** A wire that swells to one and a half of its width, and reaches no other. */
  #wide(): Fault | null {
    const { drawn, random } = this.#context;
    if (this.#wires.length === 0) return null;
    const wire = random.pick(this.#wires);
    const box = this.#stretch(wire, random.between(3, 4) * wire.width);
    if (!box) return null;
    const swollen = grownAcross(box, wire.axis, wire.width / 4);
    const { layer } = wire.shape;
    if (drawn.near(layer, grown(swollen, wire.width / 2)).length > 1) return null;
    return this.#fault('wide', layer, swollen, [wire.index], [], [boxRing(swollen)]);
  }

  #fault(
    kind: FaultKind,
    layer: string,
    box: Box,
    shapes: number[],
    cuts: readonly Ring[],
    extras: readonly Ring[],
  ): Fault | null {
    if (!this.#clear(layer, box)) return null;
    return { kind, layer, box, nets: this.#nets(...shapes), cuts, extras };
  }

  choose(kind: FaultKind): void {
    const attempt = {
      'missing-via': () => this.#missingVia(),
      open: () => this.#open(),
      narrow: () => this.#narrow(),
      bridge: () => this.#bridge(),
      'extra-shape': () => this.#extra(),
      'missing-shape': () => this.#missingShape(),
      'extra-via': () => this.#extraVia(),
      wide: () => this.#wide(),
    }[kind];
    for (let n = 0; n < TRIES; n++) {
      const fault = attempt();
      if (!fault) continue;
      this.#chosen.push(fault);
      return;
    }
  }
}

/** One fault per entry of the plan; an entry for which the drawing has no place is left out. */
export function chooseFaults(
  context: FaultContext,
  plan: readonly FaultKind[] = FAULT_PLAN,
): readonly Fault[] {
  if (context.drawn.shapes.length === 0) return [];
  const chooser = new FaultChooser(context);
  for (const kind of plan) chooser.choose(kind);
  return chooser.chosen;
}
