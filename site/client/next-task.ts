/** Lets the browser answer and paint before work goes on: a long start in several short pieces. */
export const nextTask = (): Promise<void> => {
  const { scheduler } = globalThis as { scheduler?: { yield?: () => Promise<void> } };
  return scheduler?.yield?.() ?? new Promise((done) => setTimeout(done, 0));
};

/** Runs work once nothing else is to be done; where the browser does not tell, after a moment. */
export const whenIdle = (work: () => void): void => {
  if ('requestIdleCallback' in globalThis) requestIdleCallback(work);
  else setTimeout(work, 50);
};
