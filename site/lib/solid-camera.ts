/** How a scene of solids is looked at: a parallel projection, so that lengths along one direction compare. Pure. */

export interface SolidCamera {
  /** Turn about the vertical, degrees, counter-clockwise seen from above. */
  readonly turnDeg: number;
  /** 90 looks straight down, 5 almost along the wafer. */
  readonly tiltDeg: number;
  /** Micrometres from the middle of the picture to its upper and lower edge. */
  readonly halfUm: number;
}

export const LEAST_TILT = 5;

export const sane = ({ turnDeg, tiltDeg, halfUm }: SolidCamera): SolidCamera => ({
  turnDeg: ((((turnDeg + 180) % 360) + 360) % 360) - 180,
  tiltDeg: Math.min(90, Math.max(LEAST_TILT, tiltDeg)),
  halfUm: Math.min(1e5, Math.max(0.01, halfUm)),
});

/**
 * Place on screen, in units of half the height of the picture: right, up, and towards the reader.
 * @param point relative to the middle of the scene, micrometres, Z up
 */
export function project(
  { turnDeg, tiltDeg, halfUm }: SolidCamera,
  [x, y, z]: readonly [number, number, number],
): [right: number, up: number, near: number] {
  const [turn, tilt] = [(turnDeg * Math.PI) / 180, (tiltDeg * Math.PI) / 180];
  const right = Math.cos(turn) * x - Math.sin(turn) * y;
  const away = Math.sin(turn) * x + Math.cos(turn) * y;
  return [
    right / halfUm,
    (away * Math.sin(tilt) + z * Math.cos(tilt)) / halfUm,
    (z * Math.sin(tilt) - away * Math.cos(tilt)) / halfUm,
  ];
}

/** The same as a matrix for the graphics card, column by column. @param depth half the depth of the scene, micrometres */
export function projection(camera: SolidCamera, aspect: number, depth: number): Float32Array {
  const columns = [project(camera, [1, 0, 0]), project(camera, [0, 1, 0]), project(camera, [0, 0, 1])];
  const scale = camera.halfUm / depth;
  return Float32Array.from([
    ...columns.flatMap(([right, up, near]) => [right / aspect, up, -near * scale, 0]),
    ...[0, 0, 0, 1],
  ]);
}

export interface Span {
  readonly bottom_um: number;
  readonly top_um: number;
}

/**
 * How far a height is lifted when layers are moved apart: layer n by n gaps, and in between evenly.
 * @param spans from the silicon up
 */
export function lift(spans: readonly Span[], z: number, gapUm: number): number {
  const above = spans.findIndex((span) => z <= span.top_um);
  if (above < 0) return Math.max(0, spans.length - 1) * gapUm;
  const here = spans[above]!;
  if (z >= here.bottom_um || above === 0) return above * gapUm;
  const below = spans[above - 1]!;
  const room = here.bottom_um - below.top_um;
  return (above - 1 + (room > 0 ? (z - below.top_um) / room : 1)) * gapUm;
}
