/**
 * Pyramids of plates beside Debian's `vips dzsave` (libvips-tools) on the same pictures with the same settings, both
 * with two processors: two of our threads, two processes of the peer. Run by hand: node tests/bench/pyramids.bench.ts
 */
import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { generator, machine, race, spread } from './harness.ts';

const SIDE = 2048;
const PICTURES = 16;
const ROUNDS = 5;

if (!existsSync('/usr/bin/vips')) {
  console.log('The peer is missing: install the Debian package libvips-tools.');
  process.exit(0);
}
const work = mkdtempSync(join(tmpdir(), 'stratafolio-bench-'));
const random = generator(11);
const inputs = Array.from({ length: PICTURES }, (_, n) => {
  const bytes = new Uint8Array(SIDE * SIDE);
  // Wires on a pitch under noise, as a plate has them.
  for (let p = 0; p < bytes.length; p++)
    bytes[p] = 90 + (((p % SIDE) + 7 * n) % 24 < 10 ? 70 : 0) + 40 * (random() + random() - 1);
  const path = join(work, `in${n}.pgm`);
  writeFileSync(path, Buffer.concat([Buffer.from(`P5\n${SIDE} ${SIDE}\n255\n`), bytes]));
  return path;
});

const THREAD = `
  const { parentPort } = require('node:worker_threads');
  const { readFileSync } = require('node:fs');
  (async () => {
    const sharp = (await import(${JSON.stringify(import.meta.resolve('sharp'))})).default;
    const { writePyramid } = await import(${JSON.stringify(new URL('../../pipeline/output/pyramid.ts', import.meta.url).href)});
    sharp.concurrency(1); sharp.cache(false);
    parentPort.on('message', async ({ input, output }) => {
      const bytes = readFileSync(input).subarray(-${SIDE * SIDE});
      await writePyramid(output, { bytes, channels: 1, width: ${SIDE}, height: ${SIDE} }, 'lossy');
      parentPort.postMessage('done');
    });
    parentPort.postMessage('ready');
  })();`;
const threads = [0, 1].map(() => new Worker(THREAD, { eval: true }));
await Promise.all(threads.map((t) => new Promise((done) => t.once('message', done))));

async function spreadOver(width: number, one: (lane: number, n: number) => Promise<void>): Promise<void> {
  let next = 0;
  const lane = async (l: number) => {
    while (next < PICTURES) await one(l, next++);
  };
  await Promise.all(Array.from({ length: width }, (_, l) => lane(l)));
}

const ours = () =>
  spreadOver(2, (lane, n) => {
    const thread = threads[lane]!;
    const finished = new Promise<void>((done) => thread.once('message', () => done()));
    thread.postMessage({ input: inputs[n], output: join(work, 'ours', `${n}.dzi`) });
    return finished;
  });

const peer = () =>
  spreadOver(
    2,
    (_, n) =>
      new Promise((done, fail) => {
        const args = [
          'dzsave',
          inputs[n]!,
          join(work, 'peer', String(n)),
          '--overlap',
          '0',
          '--tile-size',
          '256',
          '--depth',
          'onepixel',
          '--suffix',
          '.webp[Q=88,effort=1,alpha_q=100]',
        ];
        spawn('/usr/bin/vips', args, { env: { ...process.env, VIPS_CONCURRENCY: '1' }, stdio: 'inherit' }).on(
          'close',
          (code) => (code === 0 ? done() : fail(new Error(`vips: ${code}`))),
        );
      }),
  );

const result = await race(
  {
    ours: async () => {
      rmSync(join(work, 'ours'), { recursive: true, force: true });
      await ours();
    },
    peer: async () => {
      rmSync(join(work, 'peer'), { recursive: true, force: true });
      mkdirSync(join(work, 'peer'));
      await peer();
    },
  },
  ROUNDS,
);
const count = (name: string) =>
  readdirSync(join(work, name), { recursive: true, encoding: 'utf8' }).filter((f) => f.endsWith('.webp'))
    .length;
if (count('ours') !== count('peer'))
  throw new Error(`Not the same work: ${count('ours')} tiles against ${count('peer')}.`);
for (const t of threads) await t.terminate();
rmSync(work, { recursive: true, force: true });
console.log(
  `| ${PICTURES} plates of ${SIDE} x ${SIDE} | ours | vips dzsave | ratio |\n| --- | --- | --- | --- |`,
);
console.log(
  `| WebP pyramids | ${spread(result.ours!)} | ${spread(result.peer!)} | ${(result.ours!.medianMs / result.peer!.medianMs).toFixed(2)} |`,
);
console.log(`\n${machine()}`);
