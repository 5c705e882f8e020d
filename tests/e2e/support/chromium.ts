/** The system's own Chromium; nothing is ever downloaded. */
import { existsSync } from 'node:fs';

const PLACES = [
  process.env.STRATAFOLIO_CHROMIUM,
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome-stable',
  '/usr/bin/google-chrome',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
];

export function findChromium(): string {
  const found = PLACES.find((path) => path !== undefined && path !== '' && existsSync(path));
  if (!found) {
    throw new Error(
      'No Chromium on this machine. Install the Debian package "chromium", or set STRATAFOLIO_CHROMIUM to the path of one.',
    );
  }
  return found;
}

export const CHROMIUM_FLAGS = [
  ...(process.getuid?.() === 0 ? ['--no-sandbox'] : []),
  '--disable-gpu',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
  '--disable-quic',
];
