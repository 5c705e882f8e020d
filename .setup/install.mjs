// Installs what the project needs, in plain words where it cannot. Runs on Node 20 or newer, before anything is there.
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const ROOT = dirname(dirname(fileURLToPath(import.meta.url)));
/** The Node that the project is written for, from the pinned package. */
export const NODE = join(
  ROOT,
  'node_modules',
  'node',
  'bin',
  process.platform === 'win32' ? 'node.exe' : 'node',
);

export function fail(message) {
  console.error(`\n${message}\n`);
  process.exit(1);
}

export function run(command, args, options = {}) {
  return spawnSync(command, args, { cwd: ROOT, stdio: 'inherit', ...options });
}

/** npm packages, when they are missing or the lock file has changed since they were installed. */
export function installPackages() {
  const [major] = process.versions.node.split('.').map(Number);
  if (major < 20)
    fail(
      `Node 20 or newer is needed; this is ${process.version}. Install a newer one from your system or nodejs.org.`,
    );
  const lock = createHash('sha256')
    .update(readFileSync(join(ROOT, 'package-lock.json')))
    .digest('hex');
  const stamp = join(ROOT, 'node_modules', '.installed-for');
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === lock && existsSync(NODE)) return;
  console.log('Installing the packages that the project needs (once) ...');
  const npm = process.env.npm_execpath;
  const done = npm
    ? run(process.execPath, [npm, 'ci', '--no-audit', '--no-fund', '--loglevel=error'])
    : run('npm', ['ci', '--no-audit', '--no-fund', '--loglevel=error'], {
        shell: process.platform === 'win32',
      });
  if (done.status !== 0)
    fail('The packages could not be installed. Is there a way to the npm registry, and room on the disk?');
  if (!existsSync(NODE)) {
    fail(
      `Node 24 did not come with the packages (expected ${NODE}).\nInstall scripts may be switched off: run "npm rebuild node" and try again.`,
    );
  }
  writeFileSync(stamp, lock);
}

const CHROMIUM_PLACES = [
  process.env.STRATAFOLIO_CHROMIUM,
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/Applications/Chromium.app/Contents/MacOS/Chromium',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  'C:\\Program Files\\Google\\Chrome\\Application\\chrome.exe',
];

export const findChromium = () => CHROMIUM_PLACES.find((place) => place && existsSync(place)) ?? null;

/**
 * Debian packages that tests use: the browser, and second opinions on file formats. Installed only as root on a
 * system with apt-get; elsewhere the tests that want one say so and are skipped.
 */
const DEBIAN = [
  ['chromium', '/usr/bin/chromium'],
  ['gdsiiconvert', '/usr/bin/GDSIIConvert'],
  ['python3-tifffile', '/usr/lib/python3/dist-packages/tifffile'],
  ['python3-numpy', '/usr/lib/python3/dist-packages/numpy'],
  ['python3-h5py', '/usr/lib/python3/dist-packages/h5py'],
  ['hdf5-tools', '/usr/bin/h5dump'],
  ['python3-zarr', '/usr/lib/python3/dist-packages/zarr'],
  ['libtiff-tools', '/usr/bin/tiffcp'],
  ['imagemagick', '/usr/bin/convert-im6.q16'],
  ['libvips-tools', '/usr/bin/vips'],
  ['nginx-light', '/usr/sbin/nginx'],
  ['python3-h5py', '/usr/lib/python3/dist-packages/h5py'],
  ['hdf5-tools', '/usr/bin/h5repack'],
  ['python3-zarr', '/usr/lib/python3/dist-packages/zarr'],
  ['slurm-wlm', '/usr/sbin/slurmctld'],
  ['munge', '/usr/sbin/munged'],
];

export function installPeers() {
  const missing = DEBIAN.filter(([, place]) => !existsSync(place)).map(([name]) => name);
  const wanted = missing.filter((name) => name !== 'chromium' || !findChromium());
  if (wanted.length === 0) return;
  const allowed = process.getuid?.() === 0 && existsSync('/usr/bin/apt-get');
  if (!allowed) {
    console.log(
      `Not installed (needs root and apt-get): ${wanted.join(', ')}. Tests that want them are skipped and say so.`,
    );
    return;
  }
  console.log(`Installing for the tests: ${wanted.join(', ')} ...`);
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
  const quiet = { env, stdio: ['ignore', 'ignore', 'inherit'] };
  run('apt-get', ['update', '-q'], quiet);
  const all = run('apt-get', ['install', '-y', '-q', '--no-install-recommends', ...wanted], quiet);
  if (all.status === 0) return;
  // One package that a system lacks must not keep the others out.
  for (const name of wanted) {
    if (run('apt-get', ['install', '-y', '-q', '--no-install-recommends', name], quiet).status !== 0) {
      console.log(`${name} could not be installed; tests that want it are skipped and say so.`);
    }
  }
}
