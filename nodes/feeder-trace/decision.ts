/** A person's word on a correction, as it comes in msg.payload. */
import type { Decision } from '../../lib/feeder/decide';
import { Trouble } from '../kit/trouble';

const ACTIONS: ReadonlyMap<unknown, Decision['decision']> = new Map([
  ['accept-correction', 'accepted'],
  ['refuse-correction', 'refused'],
]);

export const isDecision = (payload: unknown): payload is Readonly<Record<string, unknown>> =>
  typeof payload === 'object' && payload !== null && 'action' in payload;

/** @throws Trouble that says which member is wrong and what would be right */
export function readDecision(payload: Readonly<Record<string, unknown>>): { feeder?: string; decision: Decision } {
  const decision = ACTIONS.get(payload.action);
  if (!decision) {
    throw new Trouble(
      'action-unknown',
      `msg.payload.action is ${JSON.stringify(payload.action)}; it must be one of ${[...ACTIONS.keys()].join(', ')}, download, meters-from-ledger`,
    );
  }
  const section = text(payload, 'section', 200);
  const by = text(payload, 'by', 200);
  const comment = payload.comment === undefined ? undefined : text(payload, 'comment', 2000);
  const feeder = payload.feeder === undefined ? undefined : text(payload, 'feeder', 200);
  return {
    ...(feeder === undefined ? {} : { feeder }),
    decision: { section, decision, by, ...(comment === undefined ? {} : { comment }) },
  };
}

/** The same about several sections at once, as the board asks it: there a reason must be given. */
export function readDecisions(payload: Readonly<Record<string, unknown>>): {
  feeder: string;
  decisions: readonly Decision[];
} {
  const { sections } = payload;
  if (!Array.isArray(sections) || sections.length === 0 || sections.length > MOST_SECTIONS) {
    throw new Trouble('section-invalid', `msg.payload.sections must be 1 to ${MOST_SECTIONS} names of sections`);
  }
  const comment = text(payload, 'comment', 2000);
  const feeder = text(payload, 'feeder', 200);
  return { feeder, decisions: sections.map((section) => readDecision({ ...payload, section, comment }).decision) };
}

const MOST_SECTIONS = 10_000;

function text(payload: Readonly<Record<string, unknown>>, member: string, most: number): string {
  const value = payload[member];
  if (typeof value === 'string' && value.trim() !== '' && value.length <= most) return value.trim();
  throw new Trouble(
    `${member}-invalid`,
    `msg.payload.${member} is ${JSON.stringify(value) ?? 'missing'}; it must be a text of at most ${most} characters`,
  );
}
