/** What a thread answers: its result, or the fields of a fault of the input, which would lose them on its way. */
import { InputFault, type InputFaultFields } from '../../shared/errors.ts';

export type Answer<Result> =
  | { readonly result: Result; readonly fault?: undefined }
  | { readonly fault: InputFaultFields };

/** Default export of a worker module: errors cross from thread to thread as words alone. */
export const asTask =
  <Task, Result>(run: (task: Task) => Result | Promise<Result>) =>
  async (task: Task): Promise<Answer<Result>> => {
    try {
      return { result: await run(task) };
    } catch (error) {
      if (error instanceof InputFault) return { fault: error.fields };
      throw error;
    }
  };
