/** The whole chip TGL-7: rows of cells, the store, straps, routed nets, labels, all under one top cell. */
import { randomStream } from '../random.ts';
import { standardCells } from './cells.ts';
import { DRAWN, LABEL, ROW_TRACKS, TRACK } from './drawn-layers.ts';
import { CORE, DIE_TRACKS, type Instance, MEMORY, placeCells, railNet } from './floorplan.ts';
import { addRect, type Cell, type Library, newCell, place, reachable } from './library.ts';
import { memoryBlock } from './memory.ts';
import { CLOCK_NET, drawNetlist, type Net } from './netlist.ts';
import { drawPower } from './power.ts';
import { emptyGrid, routeNets } from './router.ts';
import { drawRoute, viaCells } from './wiring.ts';

export interface Chip {
  readonly library: Library;
  readonly top: string;
  readonly nets: readonly Net[];
  readonly instances: readonly Instance[];
}

export const TOP_CELL = 'TGL7';

function rowCells(instances: readonly Instance[]): Cell[] {
  const rows: Cell[] = [];
  for (let row = 0; row < CORE.rows; row++) rows.push(newCell(`TGL7_ROW${row}`));
  for (const instance of instances) {
    const row = Math.floor((instance.y - CORE.y - (instance.mirrored ? 1 : 0)) / ROW_TRACKS);
    // Row cells are drawn upright; the odd ones are mirrored where the core refers to them.
    place(rows[row] as Cell, instance.cell, (instance.x - CORE.x) * TRACK, 0);
  }
  return rows;
}

function labelRails(core: Cell): void {
  for (let rail = 0; rail <= CORE.rows; rail++)
    core.labels.push({ layer: LABEL.metal1, x: TRACK, y: rail * ROW_TRACKS * TRACK, text: railNet(rail) });
}

/** Draws the chip of a seed. The same seed gives the same drawing. */
export function drawChip(seed: number): Chip {
  const cells = standardCells();
  const instances = placeCells(cells, randomStream(seed, 'placement'));
  const nets = drawNetlist(instances, cells, randomStream(seed, 'netlist'));
  const memory = memoryBlock();

  const core = newCell('TGL7_CORE');
  const rows = rowCells(instances);
  rows.forEach((row, r) => {
    const mirror = r % 2 === 1;
    place(core, row.name, 0, (mirror ? r + 1 : r) * ROW_TRACKS * TRACK, mirror);
  });
  place(core, memory.top, MEMORY.column * TRACK, MEMORY.row * ROW_TRACKS * TRACK);
  labelRails(core);

  const wires = newCell('TGL7_WIRES');
  const grid = emptyGrid(DIE_TRACKS.x + 1, DIE_TRACKS.y + 1);
  const supplies = newCell('TGL7_SUPPLY');
  const supplyCells = drawPower(supplies, grid);
  for (const route of routeNets(grid, nets)) drawRoute(wires, grid, route, route.net === CLOCK_NET);

  const top = newCell(TOP_CELL);
  addRect(top, DRAWN.outline, 0, 0, DIE_TRACKS.x * TRACK, DIE_TRACKS.y * TRACK);
  place(top, core.name, CORE.x * TRACK, CORE.y * TRACK);
  place(top, supplies.name, 0, 0);
  place(top, wires.name, 0, 0);

  const all = [
    ...[...cells.values()].map((c) => c.cell),
    ...memory.cells,
    ...viaCells(),
    ...supplyCells,
    ...rows,
    core,
    supplies,
    wires,
    top,
  ];
  const library: Library = {
    name: 'HERON_TGL7',
    dbuUm: 0.001,
    cells: reachable(all, TOP_CELL),
  };
  return { library, top: TOP_CELL, nets, instances };
}
