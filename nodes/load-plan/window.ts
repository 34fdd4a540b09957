/** What the board sees of a load plan node, and what it may ask of it. */
import type { LoadingDocument } from '../../lib/loading/model';

export interface PlanWindow {
  /** undefined where the loads come with each message */
  readonly feeder: string | undefined;
  /** where a new load may be put */
  readonly sections: readonly string[];
  readonly phases: readonly string[];
  /** {ask, ...} as in a message; the plan, the curve, or the options */
  ask(request: unknown): Promise<unknown>;
}

export const sectionsOf = (document: LoadingDocument | undefined): string[] =>
  document
    ? [
        ...document.sections,
        ...(document.transformers ?? []),
        ...(document.switches ?? []).filter((s) => s.closed),
      ].map(({ id }) => id)
    : [];
