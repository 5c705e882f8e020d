#!/usr/bin/env node
/** The command line: arguments in, exit code out. */
import { realpathSync } from 'node:fs';
import { enableCompileCache } from 'node:module';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { InputFault, InterruptedFault, isFault, UsageFault } from '../shared/errors.ts';
import { SOFTWARE } from './version.ts';

export const EXIT = { done: 0, input: 1, usage: 2, interrupted: 3, internal: 4 } as const;

const USAGE = `stratafolio ${SOFTWARE.version}: from an X-ray imaging campaign on a chip to a folio that can be published

  stratafolio new <folder>         a campaign to fill in, with comments
  stratafolio check <campaign>     what is there, what is missing, how big the build will be
  stratafolio build <campaign>     the folio; --out <folder>  where it goes (<campaign>/folio)
                                              --data-only     no pages, only the data
                                              --jobs N        threads (all processors)
                                              --bag           a BagIt bag beside it, for an archive
                                              --zip           one file beside it, for a deposit
                                              --zarr          plates as OME-Zarr in it
                                              --tiff          plates as TIFF in it, one file each
                                              --memory 2G     at most so much (plates take fewer threads)
                                              --engine slurm  the long stages as jobs of a Slurm cluster
                                              --force         does again what earlier builds have done
  check and build take --follow-links-out: paths and links may lead out of the campaign folder
  stratafolio serve <folio>        a local server, to look at it; --port N (4173)
  stratafolio verify <folio>       every file of a folio or a bag against its recorded checksum

Exit codes: 0 done, 1 the input is wrong, 2 wrong usage, 3 interrupted, 4 an internal fault.
`;

const OPTIONS = {
  out: { type: 'string' },
  'data-only': { type: 'boolean' },
  engine: { type: 'string' },
  jobs: { type: 'string' },
  memory: { type: 'string' },
  force: { type: 'boolean' },
  port: { type: 'string' },
  'follow-links-out': { type: 'boolean' },
  bag: { type: 'boolean' },
  zip: { type: 'boolean' },
  zarr: { type: 'boolean' },
  tiff: { type: 'boolean' },
  help: { type: 'boolean', short: 'h' },
  version: { type: 'boolean' },
} as const;

type OptionName = keyof typeof OPTIONS;

/** Options each command takes. */
const COMMANDS: Record<string, { operand: string; options: readonly OptionName[] }> = {
  new: { operand: '<folder>', options: [] },
  check: { operand: '<campaign>', options: ['follow-links-out'] },
  build: {
    operand: '<campaign>',
    options: [
      ...(['out', 'data-only', 'engine', 'jobs', 'memory', 'force', 'follow-links-out'] as const),
      ...(['bag', 'zip', 'zarr', 'tiff'] as const),
    ],
  },
  serve: { operand: '<folio>', options: ['port'] },
  verify: { operand: '<folio>', options: [] },
};

/** Runs one command. @returns the exit code */
export async function main(argv: readonly string[]): Promise<number> {
  try {
    return await dispatch(argv);
  } catch (error) {
    return report(error);
  }
}

async function dispatch(argv: readonly string[]): Promise<number> {
  const { values, positionals } = readArguments(argv);
  if (values.version) {
    process.stdout.write(`${SOFTWARE.version}\n`);
    return EXIT.done;
  }
  const [command, operand, ...rest] = positionals;
  if (values.help || command === undefined) {
    process.stdout.write(USAGE);
    return values.help ? EXIT.done : EXIT.usage;
  }
  const known = COMMANDS[command];
  if (!known)
    throw new UsageFault(
      `There is no command "${command}". The commands are ${Object.keys(COMMANDS).join(', ')}.`,
    );
  for (const name of Object.keys(values) as OptionName[]) {
    if (!known.options.includes(name)) throw new UsageFault(`"${command}" takes no --${name}.`);
  }
  if (operand === undefined) throw new UsageFault(`"${command}" needs ${known.operand}.`);
  if (rest.length > 0) throw new UsageFault(`"${command}" takes one ${known.operand}; what is "${rest[0]}"?`);
  switch (command) {
    case 'new':
      return (await import('./commands/new.ts')).newCampaign(operand);
    case 'check':
      return (await import('./commands/check.ts')).checkCampaign(
        operand,
        values['follow-links-out'] ?? false,
      );
    case 'build': {
      const { engine = 'local' } = values;
      if (engine !== 'local' && engine !== 'slurm')
        throw new UsageFault(`--engine takes local or slurm, not "${engine}".`);
      return (await import('./commands/build.ts')).build(operand, {
        dataOnly: values['data-only'] ?? false,
        force: values.force ?? false,
        engine,
        allowOutside: values['follow-links-out'] ?? false,
        bag: values.bag ?? false,
        zip: values.zip ?? false,
        zarr: values.zarr ?? false,
        tiff: values.tiff ?? false,
        ...(values.out === undefined ? {} : { out: values.out }),
        ...(values.memory === undefined ? {} : { memoryMb: megabytes(values.memory) }),
        ...(values.jobs === undefined ? {} : { jobs: wholeNumber('jobs', values.jobs, 1, 256) }),
      });
    }
    case 'serve':
      return (await import('./commands/serve.ts')).serve(
        operand,
        wholeNumber('port', values.port ?? '4173', 0, 65535),
      );
    default:
      return (await import('./commands/verify.ts')).verify(operand);
  }
}

function readArguments(argv: readonly string[]) {
  try {
    return parseArgs({ args: [...argv], options: OPTIONS, allowPositionals: true, strict: true });
  } catch (error) {
    throw new UsageFault((error as Error).message);
  }
}

function wholeNumber(option: string, text: string, least: number, most: number): number {
  const value = Number(text);
  if (!Number.isInteger(value) || value < least || value > most) {
    throw new UsageFault(`--${option} takes a whole number from ${least} to ${most}, not "${text}".`);
  }
  return value;
}

/** 800M, 2G, 1.5G: powers of a thousand. */
function megabytes(text: string): number {
  const [, number, unit] = /^(\d+(?:\.\d+)?)([MG])B?$/i.exec(text) ?? [];
  if (number === undefined)
    throw new UsageFault(`--memory takes an amount such as 800M or 2G, not "${text}".`);
  return Number(number) * (unit!.toUpperCase() === 'G' ? 1000 : 1);
}

function report(error: unknown): number {
  if (error instanceof InputFault) {
    process.stderr.write(`stratafolio: ${error.message}\n`);
    return EXIT.input;
  }
  if (error instanceof UsageFault) {
    process.stderr.write(`stratafolio: ${error.message}\nTry: stratafolio --help\n`);
    return EXIT.usage;
  }
  if (error instanceof InterruptedFault || isFault(error)) {
    process.stderr.write(`stratafolio: ${(error as Error).message}\n`);
    return EXIT.interrupted;
  }
  process.stderr.write(
    `stratafolio: an internal fault; nothing was published. Please report this text:\n${error instanceof Error ? (error.stack ?? error.message) : String(error)}\n`,
  );
  return EXIT.internal;
}

/**
 * Keeps what Node makes of our sources and libraries from run to run, beside the libraries; without it a second of every
 * start goes into making it again. Threads and the page generator take part through the environment. Where the folder may
 * not be written to, nothing is kept.
 */
function keepCompiled(): void {
  if (process.env.NODE_COMPILE_CACHE) return;
  const folder = fileURLToPath(new URL('../node_modules/.cache/stratafolio-compiled/', import.meta.url));
  if (enableCompileCache(folder).directory) process.env.NODE_COMPILE_CACHE = folder;
}

if (process.argv[1] && realpathSync(process.argv[1]) === fileURLToPath(import.meta.url)) {
  keepCompiled();
  process.exitCode = await main(process.argv.slice(2));
}
