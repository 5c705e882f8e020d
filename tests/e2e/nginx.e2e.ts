/** The folio as nginx (Debian) serves it, moved below a path of its own, with byte ranges and without. */
import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, test } from '@playwright/test';
import { WORK } from './support/build-site.ts';
import { settled } from './support/page.ts';

const NGINX = '/usr/sbin/nginx';
test.describe.configure({ mode: 'serial' });
test.skip(!existsSync(NGINX), 'nginx is not installed');

const freePort = (): Promise<number> =>
  new Promise((done) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => done(port));
    });
  });

for (const ranges of ['with', 'without'] as const) {
  test(`${ranges} byte ranges, two folders down: pages, viewer and 404 page`, async ({ page }) => {
    test.setTimeout(120_000);
    const folder = mkdtempSync(join(tmpdir(), 'folio-nginx-'));
    const port = await freePort();
    for (const name of ['temp', 'logs']) mkdirSync(join(folder, name));
    writeFileSync(join(folder, 'nginx.conf'), config(folder, port, ranges === 'with'));
    // A master process may not run as root without a user of its own to hand over to.
    const server: ChildProcess = spawn(NGINX, ['-p', folder, '-c', 'nginx.conf', '-g', 'daemon off;'], {
      stdio: 'ignore',
    });
    try {
      const base = `http://127.0.0.1:${port}/chips/tgl-7/`;
      await expect
        .poll(
          () =>
            fetch(base)
              .then((answer) => answer.status)
              .catch(() => 0),
          { timeout: 20_000 },
        )
        .toBe(200);
      const faults: string[] = [];
      page.on('console', (message) => {
        if (message.type() === 'error') faults.push(message.text());
      });
      page.on('requestfailed', (request) => {
        if (request.failure()?.errorText !== 'net::ERR_ABORTED') faults.push(request.url());
      });
      await page.goto(base);
      await page.getByRole('link', { name: 'Open the viewer' }).first().click();
      await settled(page);
      await page.goto(`${base}cautions/`);
      await expect(page.locator('h1')).toHaveText('Cautions');
      expect(faults).toEqual([]);
      const answer = await page.goto(`${base}scan/none/such/`);
      expect(answer?.status()).toBe(404);
      await expect(page.locator('h1')).toHaveText('No such page');
      await page.locator('#home').click();
      await expect(page).toHaveURL(base);
      const part = await fetch(`${base}icon.svg`, { headers: { range: 'bytes=0-9' } });
      expect(part.status).toBe(ranges === 'with' ? 206 : 200);
    } finally {
      server.kill('SIGTERM');
      await new Promise((done) => server.once('close', done));
      rmSync(folder, { recursive: true, force: true });
    }
  });
}

const config = (folder: string, port: number, ranges: boolean): string => `
${process.getuid?.() === 0 ? 'user root;' : ''}
worker_processes 1;
pid ${folder}/nginx.pid;
error_log ${folder}/logs/error.log;
events { worker_connections 64; }
http {
  include /etc/nginx/mime.types;
  access_log off;
  client_body_temp_path ${folder}/temp; proxy_temp_path ${folder}/temp; fastcgi_temp_path ${folder}/temp;
  uwsgi_temp_path ${folder}/temp; scgi_temp_path ${folder}/temp;
  server {
    listen 127.0.0.1:${port};
    ${ranges ? '' : 'max_ranges 0;'}
    error_page 404 /chips/tgl-7/404.html;
    location /chips/tgl-7/ { alias ${join(WORK, 'folio')}/; }
  }
}
`;
