/** Boxes cut along chunks: every voxel once, no cut through a chunk, no block too large; and put together again. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  blocksOf,
  copyBox,
  countOf,
  deepened,
  isWithin,
  layersOf,
} from '../../../pipeline/formats/volume/blocks.ts';
import type { Window } from '../../../pipeline/formats/volume/box.ts';
import { ChunkCache } from '../../../pipeline/formats/volume/chunk-cache.ts';

const scene = fc
  .record({
    shape: fc.tuple(
      fc.integer({ min: 1, max: 20 }),
      fc.integer({ min: 1, max: 20 }),
      fc.integer({ min: 1, max: 20 }),
    ),
    grid: fc.tuple(
      fc.integer({ min: 1, max: 9 }),
      fc.integer({ min: 1, max: 9 }),
      fc.integer({ min: 1, max: 9 }),
    ),
    corners: fc.tuple(fc.nat(), fc.nat(), fc.nat(), fc.nat(), fc.nat(), fc.nat()),
    most: fc.integer({ min: 1, max: 3000 }),
  })
  .map(({ shape, grid, corners, most }) => {
    const range = (axis: number): [number, number] => {
      const [a, b] = [corners[2 * axis] % shape[axis], corners[2 * axis + 1] % shape[axis]];
      return [Math.min(a, b), Math.max(a, b) + 1];
    };
    const [[k0, k1], [j0, j1], [i0, i1]] = [range(0), range(1), range(2)];
    const [nz, ny, nx] = shape;
    return { shape: { nz, ny, nx }, grid, box: { k0, k1, j0, j1, i0, i1 } satisfies Window, most };
  });

const options = { seed: 20260510, numRuns: 400 };

describe('blocks', () => {
  it('hold every voxel of the box once, in place', () => {
    fc.assert(
      fc.property(scene, ({ shape, grid, box, most }) => {
        const whole = Int32Array.from({ length: shape.nz * shape.ny * shape.nx }, (_, n) => n + 1);
        const all: Window = { k0: 0, k1: shape.nz, j0: 0, j1: shape.ny, i0: 0, i1: shape.nx };
        const out = new Int32Array(countOf(box));
        let voxels = 0;
        for (const block of blocksOf(box, grid, most)) {
          // By way of a block of its own, as it comes from a file.
          const part = new Int32Array(countOf(block));
          copyBox(whole, all, block, part, block);
          copyBox(part, block, block, out, box);
          voxels += part.length;
        }
        expect(voxels).toBe(out.length);
        let at = 0;
        for (let k = box.k0; k < box.k1; k++) {
          for (let j = box.j0; j < box.j1; j++) {
            for (let i = box.i0; i < box.i1; i++)
              expect(out[at++]).toBe((k * shape.ny + j) * shape.nx + i + 1);
          }
        }
      }),
      options,
    );
  });

  it('are not too large, unless a single chunk is, and are not cut through chunks', () => {
    fc.assert(
      fc.property(scene, ({ grid, box, most }) => {
        for (const block of blocksOf(box, grid, most)) {
          const isOneChunk = [
            [block.k0, block.k1],
            [block.j0, block.j1],
            [block.i0, block.i1],
          ].every(([from, to], axis) => Math.floor(from / grid[axis]) === Math.floor((to - 1) / grid[axis]));
          if (!isOneChunk) expect(countOf(block)).toBeLessThanOrEqual(most);
          const cuts = [
            [block.k0, box.k0, grid[0]],
            [block.j0, box.j0, grid[1]],
            [block.i0, box.i0, grid[2]],
            [block.k1, box.k1, grid[0]],
            [block.j1, box.j1, grid[1]],
            [block.i1, box.i1, grid[2]],
          ];
          for (const [cut, edge, side] of cuts) if (cut !== edge) expect(cut % side).toBe(0);
        }
      }),
      options,
    );
  });

  it('layers, and layers as deep as their chunks', () => {
    fc.assert(
      fc.property(scene, ({ shape, grid, box }) => {
        const layers = layersOf(box, grid[0]);
        expect(layers.reduce((sum, layer) => sum + countOf(layer), 0)).toBe(countOf(box));
        for (const layer of layers) {
          expect(Math.floor(layer.k0 / grid[0])).toBe(Math.floor((layer.k1 - 1) / grid[0]));
          const deep = deepened(layer, grid[0], shape);
          expect(isWithin(layer, deep)).toBe(true);
          expect(isWithin(deep, layer)).toBe(countOf(deep) === countOf(layer));
          expect(deep.k0).toBe(Math.floor(layer.k0 / grid[0]) * grid[0]);
          expect(deep.k1).toBe(Math.min(shape.nz, deep.k0 + grid[0]));
          expect([deep.j0, deep.j1, deep.i0, deep.i1]).toEqual([layer.j0, layer.j1, layer.i0, layer.i1]);
        }
      }),
      options,
    );
  });
});

describe('the cache of chunks', () => {
  it('loads a chunk once, forgets the oldest, and never holds more than it may', async () => {
    const cache = new ChunkCache<Uint8Array>(30);
    const loads: string[] = [];
    const get = (key: string, bytes = 10) =>
      cache.get(key, async () => {
        loads.push(key);
        return new Uint8Array(bytes);
      });
    await Promise.all([get('a'), get('a'), get('b')]);
    await get('c');
    await get('a');
    expect(loads).toEqual(['a', 'b', 'c']);
    await get('d');
    await get('a');
    await get('b');
    expect(loads).toEqual(['a', 'b', 'c', 'd', 'b']);
    await get('large', 31);
    await get('large', 31);
    expect(loads.slice(5)).toEqual(['large', 'large']);
  });

  it('a failure is not kept', async () => {
    const cache = new ChunkCache<Uint8Array>(30);
    const fail = () => cache.get('a', () => Promise.reject(new Error('no')));
    await expect(Promise.all([fail(), fail()])).rejects.toThrow('no');
    expect((await cache.get('a', async () => new Uint8Array(3))).length).toBe(3);
  });
});
