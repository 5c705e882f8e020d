/** The steps of one build: each is looked up by the content of what goes in, and done only where it is new. */
import { join, relative, sep } from 'node:path';
import { contentKey } from '../engine/content-key.ts';
import { sourceVersion } from '../engine/source-version.ts';
import type { StepFolders, StepStore, StoredStep } from '../engine/step-store.ts';
import type { BuildEstimate } from '../stages/survey/describe/estimate.ts';

/** Runs a step and adds its time to the stage of that name; stops where the build was interrupted. */
export type Timed = <T>(name: string, work: () => Promise<T>) => Promise<T>;

export interface StepPlan {
  /** Name of the entry in the cache. */
  readonly name: string;
  /** Stage that its time counts for. */
  readonly stage: string;
  /** Modules whose sources take part, relative to the root of the project. */
  readonly code: readonly string[];
  /** Everything the result depends on besides the code; null where that cannot be told: the step is then always done. */
  readonly input: unknown;
}

/** Checksums of files that are known without reading them again, by path below the folio. */
export type KnownSums = Map<string, { readonly bytes: number; readonly sha256: string }>;

/** What joins the stages decides what a step is given. */
const GLUE = ['pipeline/run/build-scan.ts', 'pipeline/run/site-scan.ts', 'pipeline/run/plate-steps.ts'];

export class BuildSteps {
  readonly store: StepStore;
  /** Folder of the cache. */
  readonly cache: string;
  readonly timed: Timed;
  /** Folder the folio is built in. */
  readonly staging: string;
  readonly sums: KnownSums = new Map();
  /** Checksums of files that the build read, by absolute path. */
  readonly inputSums: KnownSums = new Map();
  /** Files of each volume as its reader names them, below the campaign, by the scan's id. */
  readonly volumes = new Map<string, readonly string[]>();
  /** What `check` expects of each volume that was built. */
  readonly expected: BuildEstimate[] = [];

  constructor(store: StepStore, cache: string, staging: string, timed: Timed) {
    this.store = store;
    this.cache = cache;
    this.staging = staging;
    this.timed = timed;
  }

  /** Key of a step; keys of one step are keys of what it hands on. */
  key(plan: Pick<StepPlan, 'code' | 'input'>): string {
    return contentKey([sourceVersion(plan.code, GLUE), plan.input]);
  }

  /**
   * @param folder absolute, in the staging folder: where the files of the step belong
   * @param work writes below the folder it is given
   * @returns what the work returned, now or in an earlier build
   */
  async run<T>(plan: StepPlan, folder: string, work: (folders: StepFolders) => Promise<T>): Promise<T> {
    return this.timed(plan.stage, async () => {
      const key = plan.input === null ? null : this.key(plan);
      const found = key === null ? null : await this.store.find<T>(plan.name, key);
      const step = found ?? (await this.store.make(plan.name, key ?? contentKey(Math.random()), work));
      await this.place(step, folder);
      return step.value();
    });
  }

  /** Puts the files of a step into the folio, and remembers their checksums. */
  async place(step: StoredStep<unknown>, folder: string): Promise<void> {
    await step.placeIn(folder);
    const below = relative(this.staging, folder).split(sep).join('/');
    for (const { path, bytes, sha256 } of step.files) this.sums.set(join(below, path), { bytes, sha256 });
  }
}

/** A value that is worked out when it is first asked for. */
export function lazily<T>(make: () => Promise<T>): () => Promise<T> {
  let made: Promise<T> | null = null;
  return () => {
    made ??= make();
    return made;
  };
}
