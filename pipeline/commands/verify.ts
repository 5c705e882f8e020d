/** `stratafolio verify`: fixity of a folio, or of the bag of one. */
import { resolve } from 'node:path';
import { terminalProgress } from '../output/progress.ts';
import { isBag, verifyBag } from '../stages/publish/bag.ts';
import { readManifest, verifyFolio } from '../stages/publish/manifest.ts';

export async function verify(folio: string): Promise<number> {
  const folder = resolve(folio);
  const progress = terminalProgress();
  const check = async () => {
    if (await isBag(folder)) return verifyBag(folder);
    const manifest = await readManifest(folder);
    const bar = progress.bar('verify', manifest.files.length, 'files');
    const report = await verifyFolio(folder, () => bar.advance(), manifest);
    bar.finish();
    return report;
  };
  const report = await check();
  if (report.faults.length === 0) {
    process.stdout.write(`All ${report.checked} files are as they were recorded.\n`);
    return 0;
  }
  const { length } = report.faults;
  process.stderr.write(
    `${report.faults.join('\n')}\n${length === 1 ? 'One file is' : `${length} files are`} not as recorded; ${report.checked} are recorded.\n`,
  );
  return 1;
}
