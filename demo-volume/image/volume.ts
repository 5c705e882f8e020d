/** Images a planned volume on worker threads that share its memory. */
import { Worker } from 'node:worker_threads';
import { spectrumLength } from './spectrum.ts';
import type { PhaseDone, PhaseName, PhaseRequest, SharedVolume } from './thread-messages.ts';
import { passedPower, transferTables } from './transfer.ts';
import type { VolumePlan } from './volume-plan.ts';

export interface ImagedVolume {
  /** Electron density above the oxide on the whole transformed grid, [slice][row][column], if kept. */
  readonly image: Float32Array | null;
  readonly seconds: Readonly<Record<PhaseName, number>>;
}

function runPhase(worker: Worker, request: PhaseRequest): Promise<void> {
  return new Promise((resolve, reject) => {
    const finish = (done: () => void): void => {
      worker.off('message', onMessage);
      worker.off('error', onError);
      worker.off('exit', onExit);
      done();
    };
    const onMessage = (message: PhaseDone): void => {
      if (message.phase === request.phase) finish(resolve);
    };
    const onError = (error: unknown): void => finish(() => reject(error));
    const onExit = (code: number): void =>
      finish(() => reject(new Error(`an imaging thread ended early, code ${code}`)));
    worker.on('message', onMessage);
    worker.on('error', onError);
    worker.on('exit', onExit);
    worker.postMessage(request);
  });
}

/**
 * Draws, transforms, filters and writes. The result does not depend on the number of threads.
 * @param keep also return the finished volume with all its margins (small volumes, for tests)
 */
export async function imageVolume(
  plan: VolumePlan,
  options: { readonly threads?: number; readonly keep?: boolean } = {},
): Promise<ImagedVolume> {
  const [nx, ny, nz] = plan.grid;
  const threads = options.threads ?? 2;
  const tables = transferTables(plan.grid, plan.voxelUm, plan.instrument);
  const bytes = 4 * spectrumLength(plan.grid);
  const shared: SharedVolume = {
    plan,
    whiteSd: plan.noiseSd === 0 ? 0 : plan.noiseSd / Math.sqrt(passedPower(tables)),
    counter: new SharedArrayBuffer(4),
    re: new SharedArrayBuffer(bytes),
    im: new SharedArrayBuffer(bytes),
    planes: new SharedArrayBuffer(8 * plan.layers.length * nx * ny),
    image: options.keep ? new SharedArrayBuffer(4 * nx * ny * nz) : null,
  };
  const counter = new Int32Array(shared.counter);
  const source = new URL('./worker.ts', import.meta.url);
  const workers = Array.from({ length: threads }, () => new Worker(source, { workerData: shared }));
  const seconds = { mask: 0, forward: 0, filter: 0, inverse: 0 };
  try {
    const phases: [PhaseName, number][] = [
      ['mask', plan.layers.length],
      ['forward', nz],
      ['filter', ny],
      ['inverse', nz],
    ];
    for (const [phase, count] of phases) {
      const start = performance.now();
      Atomics.store(counter, 0, 0);
      await Promise.all(workers.map((worker) => runPhase(worker, { phase, count })));
      seconds[phase] = (performance.now() - start) / 1000;
    }
  } finally {
    await Promise.all(workers.map((worker) => worker.terminate()));
  }
  return { image: shared.image ? new Float32Array(shared.image) : null, seconds };
}
