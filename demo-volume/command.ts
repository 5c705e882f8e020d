/** How the two commands end: 0 done, 1 the input is wrong, 2 wrong usage, 4 an internal fault. */
import { DemoFault } from './input-fault.ts';

/** An option is missing, unknown or makes no sense. */
export class UsageFault extends Error {}

function isUsage(error: unknown): error is Error {
  if (error instanceof UsageFault) return true;
  const code = error instanceof Error ? (error as NodeJS.ErrnoException).code : undefined;
  return code?.startsWith('ERR_PARSE_ARGS') ?? false;
}

/** Runs a command and turns what it throws into one line and an exit code. */
export async function reportAndExit(main: () => Promise<void>): Promise<void> {
  try {
    await main();
  } catch (error) {
    const usage = isUsage(error);
    const known = usage || error instanceof DemoFault;
    console.error(known ? error.message : error);
    process.exitCode = usage ? 2 : known ? 1 : 4;
  }
}
