/**
 * A track router on three layers: metal2 runs along y, metal3 along x, metal4 along y on every second track.
 * Nets are routed one after another by a shortest path over free grid points; when one finds no way, it is moved to
 * the front and everything is routed again. @source the shortest path: Dijkstra, Numer. Math. 1, 269 (1959).
 */
import type { Net, Terminal } from './netlist.ts';

export type Metal = 2 | 3 | 4;

/** Grid points per axis; a node is a metal and a grid point. */
export interface RoutingGrid {
  readonly nx: number;
  readonly ny: number;
  /** One byte per node: 1 where nothing may be routed. */
  readonly blocked: Uint8Array;
}

/** A step of a route: from one node to the next, along a track or through a via. */
export interface Route {
  readonly net: string;
  readonly edges: readonly (readonly [number, number])[];
  /** Nodes on metal2 that go down to metal1 through a via. */
  readonly pinNodes: readonly number[];
}

const METALS: readonly Metal[] = [2, 3, 4];
const VIA_COST = 3;
const OVER_PIN_COST = 5;
const STEP_COST: Readonly<Record<Metal, number>> = { 2: 1, 3: 1, 4: 0.8 };

export const nodeIndex = (grid: RoutingGrid, metal: Metal, x: number, y: number): number =>
  ((metal - 2) * grid.ny + y) * grid.nx + x;

export function nodePlace(grid: RoutingGrid, node: number): { metal: Metal; x: number; y: number } {
  const x = node % grid.nx;
  const rest = Math.floor(node / grid.nx);
  return { metal: METALS[Math.floor(rest / grid.ny)] as Metal, x, y: rest % grid.ny };
}

export function emptyGrid(nx: number, ny: number): RoutingGrid {
  const grid = { nx, ny, blocked: new Uint8Array(3 * nx * ny) };
  for (let y = 0; y < ny; y++)
    for (let x = 0; x < nx; x++) {
      const edge = x < 1 || y < 1 || x > nx - 2 || y > ny - 2;
      for (const metal of METALS)
        if (edge || (metal === 4 && x % 2 === 1)) grid.blocked[nodeIndex(grid, metal, x, y)] = 1;
    }
  return grid;
}

/** Smallest-first queue of nodes. */
class NodeQueue {
  readonly #cost: number[] = [];
  readonly #node: number[] = [];
  get size(): number {
    return this.#node.length;
  }
  push(node: number, cost: number): void {
    let i = this.#node.length;
    this.#node.push(node);
    this.#cost.push(cost);
    while (i > 0) {
      const up = (i - 1) >> 1;
      if ((this.#cost[up] as number) <= (this.#cost[i] as number)) break;
      this.#swap(i, up);
      i = up;
    }
  }
  pop(): { node: number; cost: number } {
    const top = { node: this.#node[0] as number, cost: this.#cost[0] as number };
    const node = this.#node.pop() as number;
    const cost = this.#cost.pop() as number;
    if (this.#node.length > 0) {
      this.#node[0] = node;
      this.#cost[0] = cost;
      let i = 0;
      for (;;) {
        let least = i;
        for (const child of [2 * i + 1, 2 * i + 2])
          if (child < this.#node.length && (this.#cost[child] as number) < (this.#cost[least] as number))
            least = child;
        if (least === i) break;
        this.#swap(i, least);
        i = least;
      }
    }
    return top;
  }
  #swap(a: number, b: number): void {
    [this.#node[a], this.#node[b]] = [this.#node[b] as number, this.#node[a] as number];
    [this.#cost[a], this.#cost[b]] = [this.#cost[b] as number, this.#cost[a] as number];
  }
}

const terminalNodes = (grid: RoutingGrid, terminal: Terminal): number[] =>
  terminal.points.map(([x, y]) => nodeIndex(grid, terminal.level === 'metal1' ? 2 : 4, x, y));

class Router {
  readonly #grid: RoutingGrid;
  readonly #owner: Int32Array;
  readonly #overPin: Uint8Array;

  constructor(grid: RoutingGrid, nets: readonly Net[]) {
    this.#grid = grid;
    this.#owner = new Int32Array(grid.blocked.length).fill(-1);
    this.#overPin = new Uint8Array(grid.blocked.length);
    nets.forEach((net, id) => {
      for (const terminal of net.terminals) {
        const nodes = terminalNodes(grid, terminal);
        for (const node of nodes) this.#overPin[node] = 1;
        // A pin with a single landing point would be lost if another net passed over it.
        if (nodes.length === 1) this.#owner[nodes[0] as number] = id;
      }
    });
  }

  #free(node: number, id: number): boolean {
    if (this.#grid.blocked[node]) return false;
    const owned = (n: number): boolean => this.#owner[n] !== -1 && this.#owner[n] !== id;
    if (owned(node)) return false;
    // Two ends on one metal4 track need a free point between them (its space is wider than the track allows).
    const last = 2 * this.#grid.nx * this.#grid.ny;
    return node < last || !(owned(node - this.#grid.nx) || owned(node + this.#grid.nx));
  }

  #neighbours(node: number): { node: number; cost: number }[] {
    const { metal, x, y } = nodePlace(this.#grid, node);
    const at = (m: Metal, px: number, py: number): number => nodeIndex(this.#grid, m, px, py);
    const step = STEP_COST[metal];
    const out =
      metal === 3
        ? [
            { node: at(3, x - 1, y), cost: step },
            { node: at(3, x + 1, y), cost: step },
          ]
        : [
            { node: at(metal, x, y - 1), cost: step },
            { node: at(metal, x, y + 1), cost: step },
          ];
    if (metal > 2) out.push({ node: at((metal - 1) as Metal, x, y), cost: VIA_COST });
    if (metal < 4) out.push({ node: at((metal + 1) as Metal, x, y), cost: VIA_COST });
    return out;
  }

  /** Shortest way from the tree to the terminal, or null. */
  #connect(id: number, tree: ReadonlySet<number>, goals: ReadonlySet<number>): number[] | null {
    const best = new Float64Array(this.#owner.length).fill(Infinity);
    const from = new Int32Array(this.#owner.length).fill(-1);
    const queue = new NodeQueue();
    for (const node of tree) {
      if (!this.#free(node, id)) continue;
      best[node] = 0;
      queue.push(node, 0);
    }
    while (queue.size > 0) {
      const { node, cost } = queue.pop();
      if (cost > (best[node] as number)) continue;
      if (goals.has(node)) {
        const way = [node];
        for (let at = node; from[at] !== -1; at = from[at] as number) way.push(from[at] as number);
        return way;
      }
      for (const next of this.#neighbours(node)) {
        if (!this.#free(next.node, id)) continue;
        const pass = this.#overPin[next.node] && !goals.has(next.node) ? OVER_PIN_COST : 0;
        const total = cost + next.cost + pass;
        if (total < (best[next.node] as number)) {
          best[next.node] = total;
          from[next.node] = node;
          queue.push(next.node, total);
        }
      }
    }
    return null;
  }

  route(id: number, net: Net): Route | null {
    const terminals = net.terminals.map((t) => ({ t, nodes: terminalNodes(this.#grid, t) }));
    const [first, ...rest] = terminals;
    if (!first) return null;
    const edges: [number, number][] = [];
    const pinNodes = new Set<number>();
    let tree = new Set(first.nodes);
    let open = true;
    for (const { t, nodes } of rest) {
      const way = this.#connect(id, tree, new Set(nodes));
      if (!way) return null;
      if (open) {
        // The first path decides which landing point of the driver is used; the others are free again.
        tree = new Set();
        const start = way[way.length - 1] as number;
        if (first.t.level === 'metal1') pinNodes.add(start);
        tree.add(start);
        open = false;
      }
      if (t.level === 'metal1') pinNodes.add(way[0] as number);
      for (let i = 0; i < way.length; i++) {
        const node = way[i] as number;
        tree.add(node);
        this.#owner[node] = id;
        if (i > 0) edges.push([way[i - 1] as number, node]);
      }
    }
    return { net: net.name, edges, pinNodes: [...pinNodes] };
  }
}

const span = (net: Net): number => {
  const points = net.terminals.flatMap((t) => t.points);
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  return Math.max(...xs) - Math.min(...xs) + Math.max(...ys) - Math.min(...ys);
};

/**
 * Routes for every net, in the order of `nets`.
 * @throws Error when no order of routing was found that connects all of them.
 */
export function routeNets(grid: RoutingGrid, nets: readonly Net[], attempts = 60): Route[] {
  let order = nets.map((_, id) => id).sort((a, b) => span(nets[a] as Net) - span(nets[b] as Net));
  for (let attempt = 0; attempt < attempts; attempt++) {
    const router = new Router(grid, nets);
    const routes = new Map<number, Route>();
    let stuck = -1;
    for (const id of order) {
      const route = router.route(id, nets[id] as Net);
      if (!route) {
        stuck = id;
        break;
      }
      routes.set(id, route);
    }
    if (stuck === -1) return nets.map((_, id) => routes.get(id) as Route);
    order = [stuck, ...order.filter((id) => id !== stuck)];
  }
  throw new Error(`no routing found for ${nets.length} nets in ${attempts} attempts`);
}
