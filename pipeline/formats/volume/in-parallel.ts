/**
 * Runs `task` for every index below `count`, `width` at a time, in order of starting. The first failure stops new
 * starts and is thrown once the tasks under way have ended, so that nothing runs on behind a fault.
 */
export async function inParallel(
  count: number,
  width: number,
  task: (index: number) => Promise<void>,
): Promise<void> {
  let next = 0;
  let failed = false;
  let failure: unknown;
  const lane = async (): Promise<void> => {
    while (!failed && next < count) {
      try {
        await task(next++);
      } catch (error) {
        if (!failed) failure = error;
        failed = true;
      }
    }
  };
  await Promise.all(Array.from({ length: Math.min(width, count) }, lane));
  if (failed) throw failure;
}
