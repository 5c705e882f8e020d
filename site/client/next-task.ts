/** Lets the browser answer and paint before work goes on: a long start in several short pieces. */
export const nextTask = (): Promise<void> => {
  const { scheduler } = globalThis as { scheduler?: { yield?: () => Promise<void> } };
  return scheduler?.yield?.() ?? new Promise((done) => setTimeout(done, 0));
};
