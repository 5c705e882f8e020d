/** Connected components of a raster, by union-find over runs of pixels. */

export interface Components {
  /** 0 outside, 1 ... count inside, numbered in order of their first pixel. */
  readonly labels: Int32Array;
  readonly count: number;
}

/**
 * @param mask not 0 where a pixel belongs to something
 * @param neighbours 4: joined over edges; 8: over corners too
 * @source two-pass labelling, Rosenfeld and Pfaltz, J. ACM 13, 471 (1966)
 */
export function labelComponents(
  mask: ArrayLike<number>,
  width: number,
  height: number,
  neighbours: 4 | 8,
): Components {
  const labels = new Int32Array(width * height);
  const parent: number[] = [0];
  const find = (label: number): number => {
    let root = label;
    while (parent[root] !== root) root = parent[root]!;
    while (parent[label] !== root) {
      const next = parent[label]!;
      parent[label] = root;
      label = next;
    }
    return root;
  };
  for (let row = 0; row < height; row++) {
    for (let x = 0; x < width; x++) {
      const at = row * width + x;
      if (mask[at] === 0) continue;
      let label = x > 0 ? labels[at - 1]! : 0;
      if (row > 0) {
        const from = neighbours === 8 && x > 0 ? -1 : 0;
        const to = neighbours === 8 && x < width - 1 ? 1 : 0;
        for (let d = from; d <= to; d++) {
          const above = labels[at - width + d]!;
          if (above === 0 || above === label) continue;
          if (label === 0) label = above;
          else {
            const [a, b] = [find(label), find(above)];
            if (a < b) parent[b] = a;
            else parent[a] = b;
          }
        }
      }
      if (label === 0) {
        label = parent.length;
        parent.push(label);
      }
      labels[at] = label;
    }
  }
  const number = new Int32Array(parent.length);
  let count = 0;
  for (let n = 0; n < labels.length; n++) {
    if (labels[n] === 0) continue;
    const root = find(labels[n]!);
    if (number[root] === 0) number[root] = ++count;
    labels[n] = number[root]!;
  }
  return { labels, count };
}
