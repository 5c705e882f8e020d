/** A button that lets an element fill the screen; it is not there where that cannot be had. */

export function attachFullScreen(element: HTMLElement, button: HTMLElement | null): void {
  if (!button) return;
  button.hidden = !document.fullscreenEnabled;
  button.addEventListener('click', () => {
    if (document.fullscreenElement) document.exitFullscreen();
    else element.requestFullscreen().catch(() => {});
  });
  element.addEventListener('fullscreenchange', () => {
    const full = document.fullscreenElement === element;
    button.textContent = full ? 'Leave full screen' : 'Full screen';
    button.setAttribute('aria-pressed', String(full));
  });
}
