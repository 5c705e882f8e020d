// npm start: installs what is needed, makes the demo campaign, builds its folio and serves it.
import { join } from 'node:path';
import { fail, installPackages, NODE, ROOT, run } from './install.mjs';

installPackages();
const campaign = join('demo-volume', 'campaign');
const made = run(NODE, [join('demo-volume', 'generate.ts')]);
if (made.status !== 0) fail('The demo campaign could not be made; the lines above say why.');
const built = run(NODE, [join('pipeline', 'cli.ts'), 'build', campaign]);
if (built.status !== 0) process.exit(built.status ?? 1);
const served = run(NODE, [
  join('pipeline', 'cli.ts'),
  'serve',
  join(ROOT, campaign, 'folio'),
  ...process.argv.slice(2),
]);
process.exit(served.status ?? 0);
