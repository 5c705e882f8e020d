/** How far a picture of mostly rectangular structure is turned against its own pixel rows, modulo 90 degrees. */

/**
 * Angle of the gradients, four times over, added up with the square of their length: noise without a direction cancels.
 * @returns radians, from -pi/4 to pi/4, from the columns' axis towards the rows' axis (clockwise on the screen)
 * @source the mean direction of axial data: Mardia and Jupp, Directional Statistics (2000), section 1.4
 */
export function pictureAngle(values: Float32Array, width: number, height: number): number {
  let cos = 0;
  let sin = 0;
  for (let j = 2; j < height - 2; j++) {
    for (let i = 2; i < width - 2; i++) {
      const p = j * width + i;
      // Differences over two pixels, averaged across: near enough the same for all directions.
      const gx =
        2 * (values[p + 1]! - values[p - 1]!) +
        (values[p + 1 - width]! - values[p - 1 - width]! + values[p + 1 + width]! - values[p - 1 + width]!);
      const gy =
        2 * (values[p + width]! - values[p - width]!) +
        (values[p + width - 1]! - values[p - width - 1]! + values[p + width + 1]! - values[p - width + 1]!);
      const square = gx * gx + gy * gy;
      if (square === 0) continue;
      // cos 4 phi and sin 4 phi of the gradient's angle, without the angle.
      const c2 = (gx * gx - gy * gy) / square;
      const s2 = (2 * gx * gy) / square;
      cos += square * (c2 * c2 - s2 * s2);
      sin += square * (2 * c2 * s2);
    }
  }
  return Math.atan2(sin, cos) / 4;
}
