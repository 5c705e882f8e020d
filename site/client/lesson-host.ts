/** The viewer's side of a lesson: shows what a step asks for, its marks over the pictures, and tells of clicks. */
import { dieFromEngine } from '../lib/camera.ts';
import { type FromViewer, lessonMessage, type ToViewer } from '../lib/lesson-messages.ts';
import { LessonMarks } from './lesson-marks.ts';
import type { PictureView } from './picture-view.ts';
import type { ViewerHost } from './viewer-host.ts';

/** A pointer that moves farther than this drags the picture. */
const STILL_PX = 6;

/** A press that moved nothing, however long it took: who ponders over a place may hold the button down. */
function onPress(view: PictureView, told: (u: number, v: number) => void): void {
  let from: PointerEvent | null = null;
  const capture = { capture: true };
  view.ground.addEventListener(
    'pointerdown',
    (event) => {
      // What lies over the picture, such as its overview, has uses of its own.
      const inPicture = (event.target as Element).closest('.engine') !== null;
      from = inPicture && event.isPrimary && event.button === 0 ? event : null;
    },
    capture,
  );
  view.ground.addEventListener(
    'pointerup',
    (event) => {
      const start = from;
      from = null;
      if (!start || start.pointerId !== event.pointerId) return;
      const moved = Math.hypot(event.clientX - start.clientX, event.clientY - start.clientY);
      if (moved <= STILL_PX) told(...view.pointAt(event));
    },
    capture,
  );
}

/** Listens to the page around an embedded viewer; does nothing in a viewer that stands by itself. */
export function attachLesson(host: ViewerHost): void {
  if (window.parent === window || !document.body.classList.contains('bare')) return;
  const outer = window.parent;
  const marks = host.parts.map(({ view }) => new LessonMarks(view));
  // A foreign page around the embed hears nothing: it is told only where it is the folio itself.
  const tell = (message: FromViewer): void => outer.postMessage(message, location.origin);
  const height = (): number => host.layers.plates[Number(host.element.dataset.plate)]!.z_um;
  addEventListener('message', (event) => {
    const message = lessonMessage<ToViewer>(event, outer);
    if (!message) return;
    switch (message.lesson) {
      case 'show':
        if (location.hash !== message.state) location.replace(message.state);
        document.body.classList.toggle('names-hidden', message.hidden);
        // Marks of findings would answer questions, and puzzle who has not met them yet.
        document.body.classList.toggle('in-lesson', !/[#&]finding=/.test(message.state));
        for (const one of marks) one.show(message.marks);
        break;
      case 'point':
        for (const one of marks) one.point(message.number);
        break;
      case 'ask':
        document.body.classList.toggle('asking', message.place);
        for (const one of marks) one.reveal([]);
        break;
      case 'reveal':
        for (const one of marks) one.reveal(message.shapes);
        break;
      case 'middle': {
        const { xUm, yUm } = host.camera();
        tell({ lesson: 'press', xUm, yUm });
        break;
      }
      case 'height':
        tell({ lesson: 'height', zUm: height() });
    }
  });
  for (const { view } of host.parts) {
    onPress(view, (u, v) => {
      const [xUm, yUm] = dieFromEngine(host.grid, u, v);
      tell({ lesson: 'press', xUm, yUm });
    });
  }
  tell({ lesson: 'ready' });
}
