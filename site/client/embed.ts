/** A view for the pages of others: the frame that shows it, and the way back from the frame into the folio. */

/** @param viewer element of the viewer, on its own page or in a frame */
export function attachEmbed(viewer: HTMLElement): void {
  const out = viewer.querySelector<HTMLAnchorElement>('[data-embed-out]');
  if (out) {
    const [page] = out.href.split('#');
    const follow = (): void => {
      out.href = page + location.hash;
    };
    for (const event of ['pointerdown', 'focus', 'pointerenter']) out.addEventListener(event, follow);
  }
  const button = viewer.querySelector<HTMLButtonElement>('[data-act="embed"]');
  if (!button) return;
  const words = button.textContent;
  button.addEventListener('click', async () => {
    const copied = await navigator.clipboard.writeText(frameCode()).then(
      () => true,
      () => false,
    );
    button.textContent = copied ? 'Frame copied' : 'Could not copy';
    viewer.querySelector('[data-announce]')!.textContent = copied
      ? 'HTML of a frame with this view is in the clipboard.'
      : 'The browser does not let this page write to the clipboard.';
    setTimeout(() => {
      button.textContent = words;
    }, 2000);
  });
}

/** HTML of a frame that shows the present view, for a page of somebody else. */
function frameCode(): string {
  const address = new URL('embed/', location.href.replace(/[?#].*$/, ''));
  address.hash = location.hash;
  const frame = document.createElement('iframe');
  frame.src = address.href;
  frame.title = document.title;
  frame.width = '800';
  frame.height = '520';
  frame.loading = 'lazy';
  frame.allow = 'fullscreen';
  return frame.outerHTML;
}
