/** `stratafolio verify`: fixity of a folio. */
import { resolve } from 'node:path';
import { verifyFolio } from '../stages/publish/manifest.ts';

export async function verify(folio: string): Promise<number> {
  const report = await verifyFolio(resolve(folio));
  if (report.faults.length === 0) {
    process.stdout.write(`All ${report.checked} files are as they were recorded.\n`);
    return 0;
  }
  process.stderr.write(
    `${report.faults.join('\n')}\n${report.faults.length} of ${report.checked} recorded files and what lies beside them are not as recorded.\n`,
  );
  return 1;
}
