/** What a difference means for the drawn shapes around it: what it breaks, joins, narrows or adds. */
import type { Findings } from '../../../shared/artefacts/findings.ts';
import { labelComponents } from '../../kernels/components.ts';
import { squaredDistances } from '../../kernels/distance-transform.ts';
import type { Difference, Field } from './box-fit.ts';
import { clip, grow, join, meet, type PixelBox } from './canvas.ts';

export type FindingKind = Findings['findings'][number]['kind'];

export interface LayerContext {
  readonly role: 'conductor' | 'via' | 'other';
  readonly field: Field;
  /** Drawn conductors of the whole layer, numbered; null to number those of the neighbourhood only. */
  readonly conductors: Int32Array | null;
  /** Coverage of the via layers that end on this one. */
  readonly vias: readonly Float32Array[];
  /** Smallest side that is usual on the layer, pixels. */
  readonly widthPx: number;
}

export interface Classified {
  readonly kind: FindingKind;
  readonly box: PixelBox;
  readonly areaPx: number;
  readonly z: number;
  readonly amplitude: number;
  /** How sure it is that it is this kind, given that it is there. */
  readonly kindOdds: number;
  /** Extra metal that touches nothing drawn. */
  readonly alone?: boolean;
  /** May be the only shape of a layer's fill that lies in the field. */
  readonly maybeFill?: boolean;
}

/** Pixels around a difference within which connections are followed. */
const AROUND_PX = 40;
/** Differences this close are one. */
const NEAR_PX = 2;
/** Less than this share of a cross-section gone leaves a wire connected. */
const BROKEN_SHARE = 0.65;

/** Differences that touch each other and go the same way. */
export function clusterDifferences(found: readonly Difference[]): Difference[][] {
  const clusters: Difference[][] = [];
  for (const d of found) {
    const near = clusters.filter(
      (c) => c[0]!.ground === d.ground && c[0]!.sign === d.sign && c.some((o) => meet(grow(o, NEAR_PX), d)),
    );
    const merged = [d, ...near.flat()];
    for (const c of near) clusters.splice(clusters.indexOf(c), 1);
    clusters.push(merged);
  }
  return clusters;
}

export function classifyLayer(found: readonly Difference[], context: LayerContext): Classified[] {
  const singles = clusterDifferences(found).flatMap((cluster) =>
    context.role === 'via' ? classifyVia(cluster, context) : [classifyConductor(cluster, context)],
  );
  return joinShifted(joinSides(singles, context.widthPx));
}

/** A wire that is narrower, or wider, on both sides is so at one place. */
function joinSides(singles: readonly Classified[], widthPx: number): Classified[] {
  const out: Classified[] = [];
  for (const one of singles) {
    const at =
      one.kind === 'narrow' || one.kind === 'wide'
        ? out.findIndex((o) => o.kind === one.kind && meet(grow(o.box, widthPx), one.box))
        : -1;
    const other = out[at];
    if (!other) {
      out.push(one);
      continue;
    }
    out[at] = {
      ...(one.z > other.z ? one : other),
      box: join(one.box, other.box),
      areaPx: one.areaPx + other.areaPx,
      z: Math.hypot(one.z, other.z),
    };
  }
  return out;
}

interface Neighbourhood {
  readonly box: PixelBox;
  readonly width: number;
  readonly height: number;
  readonly drawn: Uint8Array;
  readonly changed: Uint8Array;
}

function neighbourhood(cluster: readonly Difference[], field: Field): Neighbourhood {
  const box = clip(grow(cluster.reduce<PixelBox>(join, cluster[0]!), AROUND_PX), field);
  const [width, height] = [box.x1 - box.x0, box.y1 - box.y0];
  const drawn = new Uint8Array(width * height);
  const changed = new Uint8Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const n = (y + box.y0) * field.width + x + box.x0;
      const to = y * width + x;
      if (field.drawn[n]! > 0.5) drawn[to] = 1;
      const inside = cluster.some(
        (d) => x + box.x0 >= d.x0 && x + box.x0 < d.x1 && y + box.y0 >= d.y0 && y + box.y0 < d.y1,
      );
      if (inside && (cluster[0]!.ground === 'metal' ? field.drawn[n]! > 0.3 : field.known[n]! < 0.7))
        changed[to] = 1;
    }
  return { box, width, height, drawn, changed };
}

function summary(cluster: readonly Difference[]) {
  const strongest = cluster.reduce((a, b) => (b.z > a.z ? b : a));
  return {
    box: cluster.reduce<PixelBox>((a, b) => join(a, b), strongest),
    areaPx: cluster.reduce((sum, d) => sum + d.areaPx * Math.min(d.amplitude, 1), 0),
    z: Math.sqrt(cluster.reduce((sum, d) => sum + d.z * d.z, 0)),
    amplitude: strongest.amplitude,
    amplitudeSd: strongest.amplitudeSd,
  };
}

function classifyConductor(cluster: readonly Difference[], context: LayerContext): Classified {
  const { amplitudeSd, ...base } = summary(cluster);
  const near = neighbourhood(cluster, context.field);
  if (cluster[0]!.ground === 'gap') return { ...base, ...extraMetal(near, context) };
  const missing = missingMetal(near, context);
  if (missing !== 'open') return { ...base, kind: missing, kindOdds: 0.96 };
  // A wire that lost part of its cross-section everywhere in the box still conducts.
  const broken = logistic((base.amplitude - BROKEN_SHARE) / Math.max(amplitudeSd, 0.08));
  return broken >= 0.5
    ? { ...base, kind: 'open', kindOdds: broken }
    : { ...base, kind: 'narrow', kindOdds: 1 - broken };
}

const logistic = (x: number): number => 1 / (1 + Math.exp(-1.7 * x));

/** Neighbours over edges: one more ring of pixels. */
function widen(mask: Uint8Array, width: number, height: number): Uint8Array {
  const out = mask.slice();
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const n = y * width + x;
      if (mask[n] === 0) continue;
      if (x > 0) out[n - 1] = 1;
      if (x < width - 1) out[n + 1] = 1;
      if (y > 0) out[n - width] = 1;
      if (y < height - 1) out[n + width] = 1;
    }
  return out;
}

function missingMetal(near: Neighbourhood, context: LayerContext): 'open' | 'narrow' | 'missing-shape' {
  const { box, width, height, drawn, changed } = near;
  const before = labelComponents(drawn, width, height, 4);
  const touched = new Set<number>();
  const gone = new Map<number, number>();
  for (let n = 0; n < drawn.length; n++)
    if (changed[n] && drawn[n]) {
      touched.add(before.labels[n]!);
      gone.set(before.labels[n]!, (gone.get(before.labels[n]!) ?? 0) + 1);
    }
  const size = new Map<number, number>();
  const atRim = new Set<number>();
  for (let n = 0; n < drawn.length; n++) {
    const label = before.labels[n]!;
    if (label === 0) continue;
    size.set(label, (size.get(label) ?? 0) + 1);
    if (onRim(n, width, height)) atRim.add(label);
  }
  for (const label of touched)
    if (!atRim.has(label) && gone.get(label)! >= 0.6 * size.get(label)!) return 'missing-shape';
  // A pixel more: what is left of a pixel at the side of a break conducts nothing.
  const removed = widen(changed, width, height);
  const left = Uint8Array.from(drawn, (v, n) => (v && !removed[n] ? 1 : 0));
  const after = labelComponents(left, width, height, 4);
  // Ends of a conductor: where it leaves the neighbourhood, and its vias.
  const ends = new Map<number, Set<number>>();
  let cutOff = false;
  const end = (label: number, part: number): void => {
    if (!touched.has(label)) return;
    if (part === 0) cutOff = true;
    else ends.set(label, (ends.get(label) ?? new Set()).add(part));
  };
  for (let n = 0; n < drawn.length; n++)
    if (drawn[n] && onRim(n, width, height) && after.labels[n]) end(before.labels[n]!, after.labels[n]!);
  for (const via of context.vias)
    viaEnds(via, near, context.field.width, box, before.labels, after.labels, end);
  if (cutOff || [...ends.values()].some((parts) => parts.size > 1)) return 'open';
  if (partedInTheMiddle(drawn, removed, touched, before.labels, after.labels)) return 'open';
  const depth = crossShare(near);
  return depth >= 0.9 ? 'missing-shape' : 'narrow';
}

/** A wire that ends in the neighbourhood on both sides of a gap is broken too, if more than crumbs are left on each. */
function partedInTheMiddle(
  drawn: Uint8Array,
  removed: Uint8Array,
  touched: ReadonlySet<number>,
  before: Int32Array,
  after: Int32Array,
): boolean {
  const gone = new Map<number, number>();
  const left = new Map<number, Map<number, number>>();
  for (let n = 0; n < drawn.length; n++) {
    const label = before[n]!;
    if (!drawn[n] || !touched.has(label)) continue;
    if (removed[n]) gone.set(label, (gone.get(label) ?? 0) + 1);
    else {
      const parts = left.get(label) ?? new Map<number, number>();
      left.set(label, parts.set(after[n]!, (parts.get(after[n]!) ?? 0) + 1));
    }
  }
  return [...left].some(
    ([label, parts]) => [...parts.values()].filter((size) => size >= gone.get(label)! / 2).length > 1,
  );
}

const onRim = (n: number, width: number, height: number): boolean => {
  const x = n % width;
  return x === 0 || x === width - 1 || n < width || n >= width * (height - 1);
};

/** Reports for every via on a drawn conductor which remaining part it stands on, 0 for none. */
function viaEnds(
  via: Float32Array,
  { width, height }: Neighbourhood,
  stride: number,
  box: PixelBox,
  before: Int32Array,
  after: Int32Array,
  end: (label: number, part: number) => void,
): void {
  const mask = new Uint8Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++)
      if (via[(y + box.y0) * stride + x + box.x0]! > 0.5) mask[y * width + x] = 1;
  const { labels, count } = labelComponents(mask, width, height, 4);
  const stands = new Int32Array(count + 1);
  const part = new Int32Array(count + 1);
  const inside = new Uint8Array(count + 1).fill(1);
  for (let n = 0; n < labels.length; n++) {
    const label = labels[n]!;
    if (label === 0) continue;
    if (onRim(n, width, height)) inside[label] = 0;
    if (before[n]) stands[label] = before[n]!;
    if (after[n]) part[label] = after[n]!;
  }
  for (let label = 1; label <= count; label++)
    if (stands[label] && inside[label]) end(stands[label]!, part[label]!);
}

/** Share of a wire's cross-section that the change takes where it takes most, looking along rows and along columns. */
function crossShare({ width, drawn, changed }: Neighbourhood): number {
  const shares = [0, 0];
  for (let n = 0; n < drawn.length; n++) {
    if (!changed[n] || !drawn[n]) continue;
    [1, width].forEach((step, axis) => {
      let [all, gone] = [1, 1];
      for (const way of [-step, step])
        for (let m = n + way; m >= 0 && m < drawn.length && drawn[m] && all < 400; m += way) {
          if (step === 1 && Math.floor(m / width) !== Math.floor(n / width)) break;
          all++;
          if (changed[m]) gone++;
        }
      shares[axis] = Math.max(shares[axis]!, gone / all);
    });
  }
  return Math.max(shares[0]!, shares[1]!);
}

/** How far the change reaches from the drawn metal, pixels. */
function depthOf({ width, height, drawn, changed }: Neighbourhood): number {
  const away = squaredDistances(drawn, width, height);
  let most = 0;
  for (let n = 0; n < changed.length; n++) if (changed[n] && away[n]! > most) most = away[n]!;
  return Math.sqrt(most);
}

function extraMetal(
  near: Neighbourhood,
  context: LayerContext,
): { kind: FindingKind; kindOdds: number; alone?: boolean } {
  const { width, height, drawn, changed } = near;
  const reach = widen(widen(changed, width, height), width, height);
  const local = context.conductors ? null : labelComponents(drawn, width, height, 4).labels;
  const touched = new Set<number>();
  for (let n = 0; n < drawn.length; n++) {
    if (!reach[n] || !drawn[n]) continue;
    const x = (n % width) + near.box.x0;
    const y = Math.floor(n / width) + near.box.y0;
    touched.add(local ? local[n]! : context.conductors![y * context.field.width + x]!);
  }
  touched.delete(0);
  if (touched.size > 1) return { kind: 'bridge', kindOdds: 0.97 };
  if (touched.size === 0) return { kind: 'extra-shape', kindOdds: 0.98, alone: true };
  return depthOf(near) <= Math.max(2, 0.4 * context.widthPx)
    ? { kind: 'wide', kindOdds: 0.95 }
    : { kind: 'extra-shape', kindOdds: 0.9 };
}

/** Vias one by one: a cluster may take in several. */
function classifyVia(cluster: readonly Difference[], context: LayerContext): Classified[] {
  const { amplitudeSd, ...base } = summary(cluster);
  const near = neighbourhood(cluster, context.field);
  const { width, height, drawn, changed, box } = near;
  const vias = labelComponents(drawn, width, height, 4);
  if (cluster[0]!.ground === 'gap') {
    const reach = widen(changed, width, height);
    // Slivers are no vias: a via is about as wide as the others of its layer.
    const [w, h] = [base.box.x1 - base.box.x0, base.box.y1 - base.box.y0];
    if (Math.min(w, h) < 0.5 * context.widthPx || base.areaPx < 0.3 * context.widthPx ** 2) return [];
    return [{ ...base, kind: drawn.some((v, n) => v && reach[n]) ? 'wide' : 'extra-via', kindOdds: 0.96 }];
  }
  const boxes: PixelBox[] = Array.from({ length: vias.count + 1 }, () => ({
    x0: 1e9,
    y0: 1e9,
    x1: -1,
    y1: -1,
  }));
  const area = new Float64Array(vias.count + 1);
  const gone = new Float64Array(vias.count + 1);
  for (let n = 0; n < drawn.length; n++) {
    const label = vias.labels[n]!;
    if (label === 0) continue;
    area[label]!++;
    if (changed[n]) gone[label]!++;
    const [x, y] = [(n % width) + box.x0, Math.floor(n / width) + box.y0];
    boxes[label] = join(boxes[label]!, { x0: x, y0: y, x1: x + 1, y1: y + 1 });
  }
  const out: Classified[] = [];
  for (let label = 1; label <= vias.count; label++) {
    const share = (Math.min(base.amplitude, 1) * gone[label]!) / area[label]!;
    if (share < 0.15) continue;
    const missing = share >= 0.5;
    const odds = Math.min(0.99, logistic(Math.abs(share - 0.5) / Math.max(amplitudeSd, 0.12)));
    const own = { box: boxes[label]!, areaPx: area[label]! * Math.min(1, share), kindOdds: odds };
    out.push({ ...base, ...own, kind: missing ? 'missing-via' : 'narrow' });
  }
  return out;
}

const SIDEWAYS: ReadonlySet<FindingKind> = new Set([
  'narrow',
  'wide',
  'missing-via',
  'extra-via',
  'extra-shape',
  'missing-shape',
]);

/** Metal that is missing on one side and too much on the other has moved. */
function joinShifted(singles: readonly Classified[]): Classified[] {
  const rest = [...singles];
  const out: Classified[] = [];
  while (rest.length > 0) {
    const a = rest.shift()!;
    const less = (c: Classified): boolean => c.kind === 'narrow' || c.kind.startsWith('missing');
    const partner = rest.find(
      (b) =>
        SIDEWAYS.has(a.kind) &&
        SIDEWAYS.has(b.kind) &&
        less(a) !== less(b) &&
        a.areaPx < 2.5 * b.areaPx &&
        b.areaPx < 2.5 * a.areaPx &&
        meet(grow(a.box, Math.max(4, shortSide(a.box))), b.box),
    );
    if (!partner) {
      out.push(a);
      continue;
    }
    rest.splice(rest.indexOf(partner), 1);
    out.push({
      ...(a.z > partner.z ? a : partner),
      kind: 'shifted',
      box: join(a.box, partner.box),
      areaPx: a.areaPx + partner.areaPx,
      z: Math.hypot(a.z, partner.z),
      kindOdds: 0.8,
    });
  }
  return out;
}

const shortSide = (box: PixelBox): number => Math.min(box.x1 - box.x0, box.y1 - box.y0);
