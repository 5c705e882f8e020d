/** What a lesson's page and the viewer in its frame say to each other; both are pages of the same folio. */
import type { PageMark } from './lesson-step.ts';

export type ToViewer =
  | {
      readonly lesson: 'show';
      /** Fragment of the viewer's address. */
      readonly state: string;
      readonly marks: readonly PageMark[];
      /** Whether names of layers are left out. */
      readonly hidden: boolean;
    }
  /** Makes one mark stand out; null none. */
  | { readonly lesson: 'point'; readonly number: number | null }
  /** Whether a click answers a question. */
  | { readonly lesson: 'ask'; readonly place: boolean }
  /** Shows where the answer lies. */
  | { readonly lesson: 'reveal'; readonly shapes: readonly (readonly number[])[] }
  /** Takes the middle of the view for a click: for the keyboard. */
  | { readonly lesson: 'middle' }
  /** Asks for the present height. */
  | { readonly lesson: 'height' };

export type FromViewer =
  | { readonly lesson: 'ready' }
  | { readonly lesson: 'press'; readonly xUm: number; readonly yUm: number }
  | { readonly lesson: 'height'; readonly zUm: number };

/** The message, where it comes from the window that it must come from, on this very site; null otherwise. */
export function lessonMessage<T>(event: MessageEvent, from: Window | null): T | null {
  if (event.origin !== location.origin || event.source !== from) return null;
  const data: unknown = event.data;
  return typeof data === 'object' && data !== null && 'lesson' in data ? (data as T) : null;
}
