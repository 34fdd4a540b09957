/** The story of the demo: who reads what, when, and what goes wrong. All of it is invented. */
import { INSTRUMENTS, type Instrument, type Taking } from './measuring';
import { placeOf } from './places';
import { SENT_TWICE } from './planted';

export interface Step {
  /** seconds of the story */
  readonly atS: number;
  readonly does: 'reads' | 'reads-twice-sent' | 'sends-nonsense';
  readonly site: string;
  readonly conductor: number;
  readonly instrument: Instrument;
  readonly taking: Taking;
}

interface Visit {
  readonly site: string;
  readonly crew: string;
  readonly instrument: Instrument;
  readonly against: Taking['against'];
  readonly coupling?: Taking['coupling'];
}

const { first, second, lostClock, failing } = INSTRUMENTS;
const utc = (site: string, crew: string, instrument: Instrument): Visit => ({ site, crew, instrument, against: 'utc' });
const relative = (site: string, crew: string, instrument: Instrument): Visit => ({
  site,
  crew,
  instrument,
  against: 'reference',
});

/** The two sides of an open point stand next to each other. */
export const VISITS: readonly Visit[] = [
  utc('quillmere/F3/S101', 'crew 1', first),
  { ...relative('quillmere/F3/S104', 'crew 2', second), coupling: 'test-point' },
  utc('quillmere/F3/S118', 'crew 1', first),
  utc('quillmere/F7/R17', 'crew 2', second),
  relative('quillmere/F3/S125', 'crew 1', first),
  relative('quillmere/F3/S124', 'crew 1', first),
  utc('quillmere/F3/S108', 'crew 2', second),
  relative('quillmere/F3/S115', 'crew 1', first),
  utc('quillmere/F7/R23', 'crew 2', second),
  relative('quillmere/F3/S121', 'crew 2', second),
  // The feeder trace names this pole: one site of a lateral cannot tell a crossing from tags in the wrong order.
  relative('quillmere/F3/S126', 'crew 1', first),
  utc('quillmere/F3/S107', 'crew 1', first),
  utc('quillmere/F7/R31', 'crew 2', second),
  utc('quillmere/F3/S112', 'crew 1', first),
  utc('quillmere/F7/R42', 'crew 3', lostClock),
];

/** Between two conductors of a visit, and between two visits, seconds of the story. */
const CONDUCTOR_S = 1.6;
const TRAVEL_S = 0.8;

/** The steps of one visit, and when the next one may begin. */
export function stepsOf(visit: Visit, startS: number, job: string): { steps: Step[]; endS: number } {
  const { site, crew, instrument, against, coupling = 'contact' } = visit;
  const taking = { against, coupling, by: crew, job };
  const steps = placeOf.get(site)!.phases.map(
    (_, conductor): Step => ({
      atS: startS + conductor * CONDUCTOR_S,
      does: 'reads',
      site,
      conductor,
      instrument,
      taking,
    }),
  );
  return { steps, endS: startS + steps.length * CONDUCTOR_S + TRAVEL_S };
}

/** The whole story in order, about 70 seconds of it. */
export function story(): readonly Step[] {
  const steps: Step[] = [];
  let atS = 0;
  VISITS.forEach((visit, i) => {
    const { steps: told, endS } = stepsOf(visit, atS, `visit ${i + 1}`);
    steps.push(...told.flatMap(mishaps));
    atS = endS;
  });
  return steps.sort((a, b) => a.atS - b.atS);
}

/** What else happens at a step: an instrument that fails its self-test is put aside, a message is garbled, one is sent twice. */
function mishaps(step: Step): Step[] {
  const before = { ...step, atS: step.atS - 0.6 };
  const place = `${step.site}/${step.conductor + 1}`;
  if (place === 'quillmere/F3/S121/1') return [{ ...before, instrument: failing }, step];
  if (place === 'quillmere/F3/S124/1') return [{ ...before, does: 'sends-nonsense' }, step];
  if (place === SENT_TWICE) return [{ ...step, does: 'reads-twice-sent' }];
  return [step];
}
