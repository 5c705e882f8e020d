/**
 * Nets by flood fill, slow and obvious: every layer is a raster of unit squares, neighbours share an edge, a via joins
 * the squares above and below each of its own. For upright shapes on whole units this is exact.
 */
export interface FloodShape {
  readonly layer: number;
  /** Upright corners on whole units from 0, by the even-odd rule. */
  readonly ring: readonly number[];
}

/** Rasters of 0 (nothing) and 1 (metal), one per layer. */
export function rasterise(shapes: readonly FloodShape[], layers: number, side: number): Uint8Array[] {
  const rasters = Array.from({ length: layers }, () => new Uint8Array(side * side));
  for (const { layer, ring } of shapes) {
    for (let y = 0; y < side; y++) {
      for (let x = 0; x < side; x++) if (holds(ring, x + 0.5, y + 0.5)) rasters[layer]![y * side + x] = 1;
    }
  }
  return rasters;
}

export function holds(ring: readonly number[], x: number, y: number): boolean {
  let inside = false;
  for (let n = 0, m = ring.length - 2; n < ring.length; m = n, n += 2) {
    const [ax, ay, bx, by] = [ring[m]!, ring[m + 1]!, ring[n]!, ring[n + 1]!];
    if (ay > y !== by > y && x < ax + ((bx - ax) * (y - ay)) / (by - ay)) inside = !inside;
  }
  return inside;
}

/**
 * @param joins for each layer, the layers that its squares join (none for a conductor)
 * @returns for each layer and square the number of its net, -1 where there is no metal
 */
export function flood(
  rasters: readonly Uint8Array[],
  joins: readonly (readonly number[])[],
  side: number,
): Int32Array[] {
  const nets = rasters.map((raster) => new Int32Array(raster.length).fill(-1));
  let next = 0;
  rasters.forEach((raster, layer) => {
    for (let at = 0; at < raster.length; at++) {
      if (!raster[at] || nets[layer]![at]! >= 0) continue;
      const open: [number, number][] = [[layer, at]];
      nets[layer]![at] = next;
      while (open.length > 0) {
        const [l, a] = open.pop()!;
        const x = a % side;
        const around: [number, number][] = [];
        if (x > 0) around.push([l, a - 1]);
        if (x < side - 1) around.push([l, a + 1]);
        if (a >= side) around.push([l, a - side]);
        if (a < side * (side - 1)) around.push([l, a + side]);
        for (const other of joins[l]!) around.push([other, a]);
        joins.forEach((targets, via) => {
          if (targets.includes(l)) around.push([via, a]);
        });
        for (const [ol, oa] of around) {
          if (!rasters[ol]![oa] || nets[ol]![oa]! >= 0) continue;
          nets[ol]![oa] = next;
          open.push([ol, oa]);
        }
      }
      next++;
    }
  });
  return nets;
}
