/** What the campaign keeps from publication, as nets must know it. */
import { type Box, boxesMeet } from '../../../shared/polygon.ts';

export interface Withheld {
  /** Drawn layers left out of nets altogether. */
  readonly drawn?: ReadonlySet<string> | undefined;
  /** Whether a cell is opened; one that is not gives no shape and no label. */
  readonly opens?: ((cell: string) => boolean) | undefined;
  /** Where no shape and no label may be shown. Nets still run through. */
  readonly regionsUm?: readonly Box[] | undefined;
}

/** Whether anything of a box lies in a region that is not shown. */
export const isHidden = (withheld: Withheld, boxUm: Box): boolean =>
  withheld.regionsUm?.some((region) => boxesMeet(region, boxUm)) ?? false;
