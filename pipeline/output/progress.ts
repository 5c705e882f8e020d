/** Progress on the terminal: bars with rate and time left where there is a terminal, plain lines elsewhere. */

export interface ProgressBar {
  /** Counts work done; may be called often. */
  advance(by?: number): void;
  /** Ends the bar, leaving one line that says how much was done and how long it took. */
  finish(remark?: string): void;
}

export interface Progress {
  bar(label: string, total: number, unit: string): ProgressBar;
  line(text: string): void;
  doubt(text: string): void;
}

/** 4.2 s, 1 min 05 s, 2 h 10 min. */
export function formatSeconds(seconds: number): string {
  if (seconds < 59.95) return `${seconds.toFixed(1)} s`;
  const whole = Math.round(seconds);
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(whole / 3600)} h ${String(Math.floor((whole % 3600) / 60)).padStart(2, '0')} min`;
}

/** 980 B, 12.3 kB, 4.5 MB, 6.7 GB: powers of a thousand. */
export function formatBytes(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB'];
  let value = bytes;
  let step = 0;
  while (value >= 999.5 && step < units.length - 1) {
    value /= 1000;
    step++;
  }
  return `${step === 0 || value >= 100 ? value.toFixed(0) : value.toPrecision(3)} ${units[step]}`;
}

const REDRAW_MS = 100;
const LABEL_WIDTH = 22;
const BAR_WIDTH = 24;

/** Progress written to a stream, normally standard error. */
export function terminalProgress(stream: NodeJS.WriteStream = process.stderr): Progress {
  const live = stream.isTTY === true;
  const clear = () => {
    if (live) stream.write('\r\x1b[2K');
  };
  return {
    line: (text) => {
      clear();
      stream.write(`${text}\n`);
    },
    doubt: (text) => {
      clear();
      stream.write(`  doubt: ${text}\n`);
    },
    bar(label, total, unit) {
      const started = performance.now();
      let done = 0;
      let drawn = 0;
      const rate = () => done / Math.max(1e-3, (performance.now() - started) / 1000);
      const draw = () => {
        const share = total > 0 ? Math.min(1, done / total) : 1;
        const filled = Math.round(share * BAR_WIDTH);
        const left = done > 0 ? `, ${formatSeconds((total - done) / rate())} left` : '';
        stream.write(
          `\r\x1b[2K${label.padEnd(LABEL_WIDTH)} ${'█'.repeat(filled)}${'·'.repeat(BAR_WIDTH - filled)} ` +
            `${done}/${total} ${unit}, ${formatRate(rate())} ${unit}/s${left}`,
        );
      };
      return {
        advance(by = 1) {
          done += by;
          const now = performance.now();
          if (live && now - drawn > REDRAW_MS) {
            drawn = now;
            draw();
          }
        },
        finish(remark) {
          clear();
          const seconds = (performance.now() - started) / 1000;
          const tail = remark ? `  ${remark}` : '';
          stream.write(
            `${label.padEnd(LABEL_WIDTH)} ${done} ${unit} in ${formatSeconds(seconds)} (${formatRate(rate())}/s)${tail}\n`,
          );
        },
      };
    },
  };
}

const formatRate = (perSecond: number): string =>
  perSecond >= 100 ? perSecond.toFixed(0) : perSecond.toPrecision(2);

/** Progress that says nothing, for tests and library use. Doubts still travel in the artefacts. */
export const silentProgress: Progress = {
  bar: () => ({ advance() {}, finish() {} }),
  line() {},
  doubt() {},
};
