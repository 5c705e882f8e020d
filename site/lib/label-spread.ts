/** Labels beside a scale: as near to their places as they can be without covering each other. */

/**
 * Moves positions apart to at least `gap`, keeping their order and moving them as little as a block can.
 * @param wanted rising or not; the answer is in the same order as the input
 * @param gap smallest distance between neighbours
 * @param range positions stay inside where there is room for all
 */
export function spreadLabels(
  wanted: readonly number[],
  gap: number,
  range: readonly [number, number],
): number[] {
  const order = wanted.map((_, n) => n).sort((a, b) => wanted[a]! - wanted[b]!);
  // Blocks of touching labels: each stands where the mean displacement of its members is zero.
  const blocks: { members: number[]; start: number }[] = [];
  const extent = (members: readonly number[]): number => (members.length - 1) * gap;
  const settle = (members: readonly number[]): number => {
    let sum = 0;
    for (const [n, member] of members.entries()) sum += wanted[member]! - n * gap;
    return Math.max(range[0], Math.min(range[1] - extent(members), sum / members.length));
  };
  for (const member of order) {
    let block = { members: [member], start: settle([member]) };
    let last = blocks.at(-1);
    while (last && last.start + extent(last.members) + gap > block.start) {
      blocks.pop();
      const members = [...last.members, ...block.members];
      block = { members, start: settle(members) };
      last = blocks.at(-1);
    }
    blocks.push(block);
  }
  const placed = new Array<number>(wanted.length).fill(0);
  for (const block of blocks) {
    for (const [n, member] of block.members.entries()) placed[member] = block.start + n * gap;
  }
  return placed;
}
