/** Programs of the site, started apart from us: the two share nothing but artefacts and their schemas. */
import { spawn } from 'node:child_process';
import { InterruptedFault } from '../../../shared/errors.ts';

/** Of our environment no more than a program needs to run: a BASE_URL or a MODE of somebody's would go into the pages. */
const PASSED = [
  ...['PATH', 'HOME', 'USERPROFILE', 'TMPDIR', 'TEMP', 'TMP', 'SystemRoot', 'LD_LIBRARY_PATH'],
  ...['NODE_COMPILE_CACHE', 'NODE_OPTIONS'],
];

export interface Said {
  readonly code: number | null;
  /** The last words, of both channels. */
  readonly words: string;
}

/**
 * @param args of Node, the program first
 * @param variables of the environment, besides what every program needs
 * @throws InterruptedFault when the signal comes first
 */
export function runNode(
  args: readonly string[],
  variables: Record<string, string>,
  cwd: string,
  signal?: AbortSignal,
): Promise<Said> {
  const passed = Object.fromEntries(
    PASSED.flatMap((name) => (process.env[name] === undefined ? [] : [[name, process.env[name]]])),
  );
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, args, {
      cwd,
      env: { ...passed, NODE_ENV: 'production', ...variables },
      stdio: ['ignore', 'pipe', 'pipe'],
      ...(signal ? { signal } : {}),
    });
    let words = '';
    const keep = (chunk: Buffer) => {
      words = (words + chunk.toString()).slice(-8000);
    };
    child.stdout.on('data', keep);
    child.stderr.on('data', keep);
    child.on('error', (error) => reject(error.name === 'AbortError' ? new InterruptedFault() : error));
    child.on('close', (code) => {
      if (code !== 0 && signal?.aborted) reject(new InterruptedFault());
      else resolve({ code, words });
    });
  });
}
