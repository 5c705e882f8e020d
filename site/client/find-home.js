// Walks up from the address that was not found to the folder that holds the folio, and links to it.
let folder = location.pathname.replace(/[^/]*$/, '');
const home = document.getElementById('home');
const hint = document.getElementById('hint');
while (folder !== '') {
  const answer = await fetch(`${folder}data/folio.json`, { method: 'HEAD' }).catch(() => null);
  if (answer?.ok) {
    home.href = folder;
    home.hidden = false;
    hint.hidden = true;
    break;
  }
  folder = folder === '/' ? '' : folder.replace(/[^/]+\/$/, '');
}
