/** Work that is asked for often and done at most once before the next picture on screen. */
export function oncePerFrame(work: () => void): () => void {
  let due = false;
  return () => {
    if (due) return;
    due = true;
    requestAnimationFrame(() => {
      due = false;
      work();
    });
  };
}
