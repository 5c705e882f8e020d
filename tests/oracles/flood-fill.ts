/** Plain oracles for rasters: components by flood fill, distances by looking at every pixel. */

/** Component number per pixel in order of the first pixel, 0 outside. */
export function floodFill(
  mask: ArrayLike<number>,
  width: number,
  height: number,
  neighbours: 4 | 8,
): number[] {
  const labels = new Array<number>(width * height).fill(0);
  let count = 0;
  for (let start = 0; start < labels.length; start++) {
    if (!mask[start] || labels[start]) continue;
    labels[start] = ++count;
    const open = [start];
    while (open.length > 0) {
      const at = open.pop()!;
      const [x, y] = [at % width, Math.floor(at / width)];
      for (let dy = -1; dy <= 1; dy++)
        for (let dx = -1; dx <= 1; dx++) {
          if (neighbours === 4 && dx !== 0 && dy !== 0) continue;
          const [u, v] = [x + dx, y + dy];
          if (u < 0 || v < 0 || u >= width || v >= height) continue;
          const to = v * width + u;
          if (!mask[to] || labels[to]) continue;
          labels[to] = count;
          open.push(to);
        }
    }
  }
  return labels;
}

export function squaredDistancesPlain(mask: ArrayLike<number>, width: number, height: number): number[] {
  return Array.from({ length: width * height }, (_, n) => {
    let best = Infinity;
    for (let m = 0; m < width * height; m++)
      if (mask[m])
        best = Math.min(
          best,
          ((m % width) - (n % width)) ** 2 + (Math.floor(m / width) - Math.floor(n / width)) ** 2,
        );
    return best;
  });
}
