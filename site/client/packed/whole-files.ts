/** Says on the page that its host sends whole files where parts were asked for: pictures come, slowly. */

let said = false;

export function sayWholeFiles(): void {
  if (said) return;
  said = true;
  const notice = document.createElement('div');
  notice.className = 'whole-files notice sans small';
  notice.setAttribute('role', 'status');
  const words = document.createElement('p');
  words.textContent =
    'This host sends whole files where parts of them were asked for (it ignores byte ranges), so every picture is ' +
    'fetched whole and comes slowly. If you publish this folio: build it with “tiles: loose” in campaign.yaml, or use a ' +
    'host that answers byte ranges.';
  const close = document.createElement('button');
  close.type = 'button';
  close.textContent = 'Close';
  close.addEventListener('click', () => notice.remove());
  notice.append(words, close);
  document.body.append(notice);
}
