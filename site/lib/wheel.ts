/** Wheel travel to whole steps: one notch of a mouse is one plate, a touchpad adds up small movements. */
const STEP_PX = 100;
const LINE_PX = 34;
const PAGE_PX = 400;

export interface WheelSteps {
  readonly steps: number;
  /** Travel left over for the next event. */
  readonly carryPx: number;
}

/** @param mode deltaMode of the event: 0 pixels, 1 lines, 2 pages */
export function wheelSteps(carryPx: number, delta: number, mode: number): WheelSteps {
  const px = delta * (mode === 1 ? LINE_PX : mode === 2 ? PAGE_PX : 1);
  // A turn the other way answers at once instead of eating up what was left over.
  const total = Math.sign(carryPx) === -Math.sign(px) ? px : carryPx + px;
  const steps = Math.trunc(total / STEP_PX);
  return { steps: steps === 0 ? 0 : steps, carryPx: total - steps * STEP_PX };
}
