// Runs while the page is read, before anything is painted, so that what an address asks for does not jump into place:
// the layout of the views is taken up at once, and what only scripts can know stays back until they have written it.
const viewer = document.currentScript.parentElement;
const asked = new URLSearchParams(location.hash.slice(1));
const show = asked.get('show');
if (asked.size > 0) viewer.dataset.linked = '';
if (viewer.dataset.drawing === 'yes' && /^(?:both|image|drawing|wipe|blend|blink|solid)$/.test(show)) {
  viewer.dataset.show = show;
}
