/** Which plates to fetch before they are asked for. */

/**
 * Plates to hold ready around the present one, the most useful first: ahead in the direction of travel, then behind.
 * @param direction 1 up, -1 down, 0 not moving (both sides alike)
 */
export function platesAhead(
  count: number,
  index: number,
  direction: -1 | 0 | 1,
  ahead = 3,
  behind = 1,
): number[] {
  const wanted: number[] = [];
  const push = (plate: number): void => {
    if (plate >= 0 && plate < count && plate !== index) wanted.push(plate);
  };
  const forward = direction === 0 ? 1 : direction;
  const far = direction === 0 ? Math.ceil((ahead + behind) / 2) : ahead;
  const near = direction === 0 ? Math.floor((ahead + behind) / 2) : behind;
  for (let n = 1; n <= Math.max(far, near); n++) {
    if (n <= far) push(index + n * forward);
    if (n <= near) push(index - n * forward);
  }
  return wanted;
}
