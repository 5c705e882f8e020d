/** Thread of the compare stage. */
import { asTask } from '../../workers/task.ts';
import { runTask } from './compare-task.ts';

export default asTask(runTask);
