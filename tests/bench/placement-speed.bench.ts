/**
 * Time and memory of automatic placement with nothing known, for the two sizes that are aimed at: 512 x 512 x 200 voxels over a
 * drawing of 100 x 100 um (20 s), and a field of 40 um anywhere in a drawing of 1 x 1 mm (60 s); 1.5 GB.
 * node tests/bench/placement-speed.bench.ts [--case small,large] [--keep FOLDER] [--seed 1]
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { USUAL } from '../../demo-volume/image/conditions.ts';
import { writeGdsii } from '../fixtures/layout/gdsii-writer.ts';
import { generator, machine } from './harness.ts';
import type { Case } from './placement-cases.ts';
import { runDrawn } from './placement-run.ts';

const { values } = parseArgs({
  options: {
    case: { type: 'string', default: 'small,large' },
    keep: { type: 'string' },
    seed: { type: 'string', default: '1' },
  },
});
const seed = Number(values.seed);
const data = resolve(import.meta.dirname, '../../../shared/data');
const processes = join(import.meta.dirname, '../fixtures/process');
const folder = values.keep ? resolve(values.keep) : mkdtempSync(join(tmpdir(), 'placement-speed-'));
mkdirSync(folder, { recursive: true });

const common = {
  ...{ rotationDeg: 23, tiltDeg: 0.6, tiltTowardsDeg: 60, scalePlane: 1.01, scaleDepth: 0.98, cnr: 4 },
  ...{ mirrored: true, circular: false, centresUm: null },
  conditions: { ...USUAL, thicknessSd: 0.05 },
} as const;

function over(
  layoutFile: string,
  processFile: string,
  rest: Pick<Case, 'windowUm' | 'depthUm' | 'voxelNm'>,
): Case {
  const files = { layoutFile, processFile };
  return {
    ...common,
    ...files,
    ...rest,
    kind: 'place',
    order: 'bottom-first',
    seed,
    layout: layoutFile,
    against: files,
  };
}

/** Random wires over a square millimetre, no place of which is like another. */
function millimetre(): string {
  const file = join(folder, 'millimetre.gds');
  if (existsSync(file)) return file;
  const random = generator(77);
  const below = (n: number): number => Math.floor(random() * n);
  // Metals along x and y in turn, on tracks of 0.8 um; vias on crossings of tracks.
  const wire = (along: boolean): number[] => {
    const [x, y] = [800 * below(1240), 800 * below(1240)];
    const long = 400 + 800 * (1 + below(12));
    return along ? [x, y, x + long, y + 400] : [x, y, x + 400, y + long];
  };
  const via = (): number[] => {
    const [x, y] = [800 * below(1250), 800 * below(1250)];
    return [x, y, x + 400, y + 400];
  };
  const layers: readonly (readonly [number, () => number[]])[] = [
    [21, () => wire(true)],
    [31, via],
    [22, () => wire(false)],
    [32, via],
    [23, () => wire(true)],
    [33, via],
    [24, () => wire(false)],
  ];
  const shapes = layers.flatMap(([layer, make]) =>
    Array.from({ length: 90_000 }, () => {
      const [x0, y0, x1, y1] = make() as [number, number, number, number];
      return {
        ...{ kind: 'polygon' as const, layer, datatype: 0, width: 0, begin: 0, end: 0, repeats: undefined },
        xy: [x0, y0, x1, y0, x1, y1, x0, y1],
      };
    }),
  );
  writeFileSync(file, writeGdsii([{ name: 'MILLIMETRE', shapes, references: [], labels: [] }]));
  return file;
}

const CASES: Record<string, () => Case | null> = {
  small: () => {
    const layout = join(data, 'sg13g2_counter_board.gds');
    if (!existsSync(layout)) return null;
    const rest = { windowUm: [38, 30, 61, 53], depthUm: [0, 9], voxelNm: 45 } as const;
    return over(layout, join(processes, 'sg13g2.yaml'), rest);
  },
  large: () => {
    const process = join(import.meta.dirname, '../../demo-volume/process.yaml');
    const rest = { windowUm: [610, 220, 650, 260], depthUm: [0.6, 5.5], voxelNm: 90 } as const;
    return over(millimetre(), process, rest);
  },
};

console.log(machine());
try {
  for (const name of values.case.split(',')) {
    const drawn = CASES[name]?.();
    if (!drawn) {
      console.log(`${name}: the open layouts (../shared/data) are not here`);
      continue;
    }
    const from = join(folder, name);
    mkdirSync(from, { recursive: true });
    const o = await runDrawn(drawn, from, true);
    console.log(
      `${name}: ${o.verdict} ${o.right ? 'right' : 'wrong'}, off ${o.planeVoxels.toFixed(2)} voxels, ${o.seconds.toFixed(1)} s, of ` +
        `the processor ${o.cpuSeconds.toFixed(1)} s, peak memory ${Math.round(process.resourceUsage().maxRSS / 1024)} MiB`,
    );
  }
} finally {
  if (!values.keep) rmSync(folder, { recursive: true });
}
