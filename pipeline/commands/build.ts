/** `stratafolio build`: runs the build and says what came out. */
import { relative } from 'node:path';
import type { BuildSummary } from '../build-options.ts';
import { formatBytes, formatSeconds, terminalProgress } from '../output/progress.ts';
import { buildFolio } from '../run.ts';

export async function build(
  campaign: string,
  options: {
    out?: string;
    dataOnly: boolean;
    force?: boolean;
    engine?: 'local' | 'slurm';
    jobs?: number;
    memoryMb?: number;
    allowOutside?: boolean;
    bag?: boolean;
    zip?: boolean;
    zarr?: boolean;
    tiff?: boolean;
  },
): Promise<number> {
  const stop = new AbortController();
  const onSignal = () => stop.abort();
  process.once('SIGINT', onSignal);
  process.once('SIGTERM', onSignal);
  try {
    const summary = await buildFolio(campaign, {
      ...options,
      progress: terminalProgress(),
      signal: stop.signal,
    });
    process.stdout.write(describeBuild(summary, options.dataOnly));
    return 0;
  } finally {
    process.off('SIGINT', onSignal);
    process.off('SIGTERM', onSignal);
  }
}

/** The closing words of a build: sizes, times, doubts, and where to look. */
export function describeBuild(summary: BuildSummary, dataOnly: boolean): string {
  const place = relative(process.cwd(), summary.folio) || '.';
  const times = [...summary.stages]
    .map(([stage, seconds]) => `${stage} ${formatSeconds(seconds)}`)
    .join(', ');
  const lines = [
    '',
    `Folio: ${place}  (${summary.files} files, ${formatBytes(summary.bytes)}, built in ${formatSeconds(summary.seconds)}, at most ${formatBytes(1e6 * summary.peakMb)} of memory)`,
    ...(summary.expected
      ? [
          `Expected by check: ${summary.expected.files} files, ${formatBytes(summary.expected.bytes)}, ${formatSeconds(summary.expected.seconds)} on a machine with nothing else to do, ${formatBytes(1e6 * summary.expected.memoryMb)} of memory`,
        ]
      : []),
    `Times: ${times}`,
    `Steps: ${summary.steps.made} done, ${summary.steps.found} kept from earlier builds`,
  ];
  if (summary.doubts.length === 0) lines.push('Doubts: none');
  else lines.push('Doubts:', ...summary.doubts.map((doubt) => `  - ${doubt}`));
  if (!dataOnly) lines.push(`Look at it: stratafolio serve ${place}`);
  return `${lines.join('\n')}\n`;
}
