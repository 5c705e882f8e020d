/** Boxes that open from a button of the viewer: a press elsewhere or Escape closes them. */
export function attachDropBoxes(host: HTMLElement): void {
  const boxes = [...host.querySelectorAll<HTMLDetailsElement>('details.drop')];
  addEventListener('pointerdown', ({ target }) => {
    for (const box of boxes) if (box.open && !box.contains(target as Node)) box.open = false;
  });
  for (const box of boxes) {
    box.addEventListener('keydown', (event) => {
      if (event.key !== 'Escape' || !box.open) return;
      box.open = false;
      box.querySelector('summary')!.focus();
    });
  }
}
