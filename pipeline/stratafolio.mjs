#!/usr/bin/env node
// Starts the command line on a Node that runs TypeScript as it is: this one, or the pinned one.
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const cli = fileURLToPath(new URL('./cli.ts', import.meta.url));
const pinned = fileURLToPath(new URL('../node_modules/node/bin/node', import.meta.url));
const [major] = process.versions.node.split('.').map(Number);
if (major >= 24) {
  const { main } = await import('./cli.ts');
  process.exitCode = await main(process.argv.slice(2));
} else if (existsSync(pinned)) {
  const child = spawnSync(pinned, [cli, ...process.argv.slice(2)], { stdio: 'inherit' });
  process.exitCode = child.status ?? 3;
} else {
  console.error(
    `Node 24 or newer is needed; this is ${process.version}. Run "npm install" in the project once.`,
  );
  process.exitCode = 4;
}
