/**
 * Time of exact coverage on layouts of 50 000 shapes at 1000 x 1000 pixels, beside librsvg (through sharp) filling the
 * same shapes as one SVG path. The peer is anti-aliased, not exact, keeps 8 bits and has to parse its text first, so
 * the ratio says "same order of cost", not "better". Run by hand: node tests/bench/coverage.bench.ts
 */
import { cpus } from 'node:os';
import sharp from 'sharp';
import { renderCoverage } from '../../pipeline/kernels/coverage.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { generator } from '../fixtures/random.ts';

const SIDE = 1000;
const SHAPES = 50_000;
const RUNS = 9;
const WARM_UP = 3;
const grid: PlateGrid = { origin_um: [0.5, SIDE - 0.5], pixel_um: 1, width_px: SIDE, height_px: SIDE };

type Draw = (x: number, y: number, width: number, height: number, n: number) => number[];
const box: Draw = (x, y, w, h) => [x, y, x + w, y, x + w, y + h, x, y + h];
const onLattice = (value: number): number => Math.round(value * 8) / 8;

/** Wires of 1 to 2 pixels by up to 40, half of them lying, half standing. */
function wires(draw: Draw, seed = 1): Float64Array[] {
  const random = generator(seed);
  return Array.from({ length: SHAPES }, (_, n) => {
    const [x, y, long, short] = [random() * SIDE, random() * SIDE, 1 + 40 * random(), 1 + random()];
    return Float64Array.from(n % 2 === 0 ? draw(x, y, long, short, n) : draw(x, y, short, long, n));
  });
}

/** One polygon over the whole picture with a hundred slots, so that nothing in a row lies apart. */
function comb(): Float64Array {
  const ring: number[] = [];
  for (let x = SIDE - 10; x >= 0; x -= 10) ring.push(x + 5, 5, x + 5, SIDE - 10, x, SIDE - 10, x, 5);
  return Float64Array.from([...ring, 0, -5, SIDE, -5, SIDE, 5]);
}

/** Layouts keep to a manufacturing grid: here an eighth of a pixel. */
const wiresOnLattice = wires((x, y, w, h, n) =>
  box(onLattice(x), onLattice(y), onLattice(w), onLattice(h), n),
);

const cases: Record<string, Float64Array[]> = {
  'rectangles on a lattice': wiresOnLattice,
  'those over one comb': [...wiresOnLattice, comb()],
  'rectangles anywhere': wires(box),
  'those over one comb ': [...wires(box), comb()],
  'contacts of 0.6 px': wires((x, y) => box(x, y, 0.6, 0.6, 0)),
  'one in five an L': wires((x, y, w, h, n) =>
    n % 5 === 0
      ? [x, y, x + w, y, x + w, y + h, x + w / 2, y + h, x + w / 2, y + h / 2, x, y + h / 2]
      : box(x, y, w, h, n),
  ),
  triangles: wires((x, y, w, h) => [x, y, x + w, y + h, x, y + h]),
};

function svgOf(shapes: readonly Float64Array[]): Buffer {
  const path = shapes.map((shape) => {
    const points = Array.from(
      { length: shape.length / 2 },
      (_, n) => `${shape[2 * n]} ${SIDE - shape[2 * n + 1]!}`,
    );
    return `M${points.join('L')}Z`;
  });
  const d = path.join('');
  return Buffer.from(
    `<svg xmlns="http://www.w3.org/2000/svg" width="${SIDE}" height="${SIDE}"><path fill="#fff" d="${d}"/></svg>`,
  );
}

async function timed(work: () => Promise<unknown> | unknown): Promise<string> {
  const times: number[] = [];
  for (let n = -WARM_UP; n < RUNS; n++) {
    const start = performance.now();
    await work();
    if (n >= 0) times.push(performance.now() - start);
  }
  times.sort((a, b) => a - b);
  const [median, low, high] = [times[RUNS >> 1]!, times[0]!, times[RUNS - 1]!].map((value) =>
    value.toFixed(0),
  );
  return `${median} ms (${low} to ${high})`.padEnd(24);
}

sharp.concurrency(1);
sharp.cache(false);
console.log(
  `${cpus()[0]?.model ?? 'unknown processor'}, Node ${process.version}, sharp ${sharp.versions.sharp}`,
);
console.log(`${SHAPES} shapes on ${SIDE} x ${SIDE} px, one thread; median of ${RUNS} (lowest to highest)\n`);
console.log(
  `${'case'.padEnd(28)}${'exact coverage'.padEnd(24)}${'librsvg'.padEnd(24)}covered px: exact, librsvg`,
);
for (const [name, shapes] of Object.entries(cases)) {
  const ours = await timed(() => renderCoverage(shapes, grid));
  const svg = svgOf(shapes);
  const draw = (): Promise<Buffer> =>
    sharp(svg, { unlimited: true }).ensureAlpha().extractChannel(3).raw().toBuffer();
  const peer = await timed(draw);
  // Sums of coverage as a check that both drew the same thing.
  const exact = renderCoverage(shapes, grid).reduce((sum, value) => sum + value, 0);
  const drawn = (await draw()).reduce((sum, value) => sum + value / 255, 0);
  console.log(`${name.padEnd(28)}${ours}${peer}${exact.toFixed(0)}, ${drawn.toFixed(0)}`);
}
