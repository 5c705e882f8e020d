/** Places at which a reader can tell whether a drawing lies on its image: where edges are. Pure. */

export interface Coarse {
  /** RGBA, coverage in red. */
  readonly data: Uint8ClampedArray;
  readonly width: number;
  readonly height: number;
}

/**
 * In each quarter of a picture the square window in which the drawing changes most, so that wires and gaps are both in
 * it; the middle of the quarter where nothing is drawn.
 * @param side of the window in pixels of the picture
 * @returns middles of the four windows, upper left, upper right, lower left, lower right
 */
export function chooseWindows(drawing: Coarse, side: number): [number, number][] {
  const { width, height, data } = drawing;
  // Sums of the steps between neighbours, so that a window costs four look-ups.
  const sums = new Float64Array((width + 1) * (height + 1));
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      const at = 4 * (y * width + x);
      const right = x + 1 < width ? Math.abs(data[at]! - data[at + 4]!) : 0;
      const below = y + 1 < height ? Math.abs(data[at]! - data[at + 4 * width]!) : 0;
      // Edges of both directions count more than many of one: a field of parallel wires may slip along itself.
      row += Math.sqrt(right) + Math.sqrt(below) + (right > 0 && below > 0 ? 16 : 0);
      sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1]! + row;
    }
  }
  const window = Math.max(1, Math.min(side, width >> 1, height >> 1));
  const inside = (x: number, y: number): number => {
    const at = (px: number, py: number): number => sums[py * (width + 1) + px]!;
    return at(x + window, y + window) - at(x, y + window) - at(x + window, y) + at(x, y);
  };
  const places: [number, number][] = [];
  for (const top of [0, 1]) {
    for (const left of [0, 1]) {
      const [x0, x1] = [Math.floor((left * width) / 2), Math.floor(((left + 1) * width) / 2)];
      const [y0, y1] = [Math.floor((top * height) / 2), Math.floor(((top + 1) * height) / 2)];
      let best: [number, number] = [(x0 + x1) / 2, (y0 + y1) / 2];
      let most = 0;
      const step = Math.max(1, window >> 2);
      for (let y = y0; y + window <= y1; y += step) {
        for (let x = x0; x + window <= x1; x += step) {
          const value = inside(x, y);
          if (value > most) {
            most = value;
            best = [x + window / 2, y + window / 2];
          }
        }
      }
      places.push(best);
    }
  }
  return places;
}
