/** How the two commands end: 0 done, 1 the input is wrong, 2 wrong usage, 4 an internal fault. */
import { DemoFault } from './input-fault.ts';

export async function reportAndExit(main: () => Promise<void>): Promise<void> {
  try {
    await main();
  } catch (error) {
    const usage = error instanceof TypeError;
    const known = error instanceof DemoFault || usage;
    console.error(known ? (error as Error).message : error);
    process.exitCode = error instanceof DemoFault ? 1 : usage ? 2 : 4;
  }
}
