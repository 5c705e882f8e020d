/** Area of convex pieces inside a box. */
import { type Box, signedArea } from '../../../shared/polygon.ts';
import { clipRing } from '../../kernels/ring-clip.ts';
import type { Piece } from './convex-pieces.ts';

export function areaOf(pieces: readonly Piece[], box: Box): number {
  return pieces.reduce((sum, piece) => sum + Math.abs(signedArea(clipRing(piece, box))), 0);
}
