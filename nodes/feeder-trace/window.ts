/** What the board sees of the feeders of a node, and what it may do there. */
import type { Feeder } from '../../lib/feeder/model';
import { type FeederPicture, feederPicture, type SectionPicture, sectionPicture } from '../../lib/feeder/picture';
import type { FeederTrace } from '../../lib/feeder/trace';
import { type Visit, visitsOf } from '../../lib/feeder/visits';
import { formatInstant } from '../../lib/instant';
import type { Correction, Trace } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import { readDecisions } from './decision';
import { type Download, readDownload } from './download';
import type { FeederDesk } from './feeder-desk';

export interface FeederWindow {
  readonly feeders: readonly { readonly id: string; readonly name: string; readonly sections: number }[];
  /** ways in which corrections can leave as a file */
  readonly formats: readonly string[];
  look(feeder: string): Promise<{ readonly picture: FeederPicture; readonly trace: Trace | null }>;
  section(feeder: string, section: string): Promise<SectionPicture>;
  /** a crew's day: the terminals to read, in the order of choice and in the order of a walk along the feeder */
  day(feeder: string, visits: number): Promise<readonly Visit[]>;
  /** {action, feeder, sections, by, comment}; rejects with a Trouble */
  decide(request: Readonly<Record<string, unknown>>): Promise<readonly Correction[]>;
  /** {format, acceptedOnly} */
  file(feeder: string, request: Readonly<Record<string, unknown>>): Promise<Download>;
}

interface Shown {
  readonly feeders: readonly Feeder[];
  readonly isCim: boolean;
}

const MOST_VISITS = 50;

export function windowOf(
  desk: FeederDesk,
  { feeders, isCim }: Shown,
  decided: (corrections: readonly Correction[]) => void,
): FeederWindow {
  return {
    feeders: feeders.map((f) => ({ id: f.id, name: f.document.name ?? f.id, sections: f.count - 1 })),
    formats: isCim ? ['csv', 'geojson', 'cim'] : ['csv', 'geojson'],
    async look(feeder) {
      const { file, run } = await desk.opened(feeder);
      return { picture: feederPicture(run), trace: file.record(run) ?? null };
    },
    async section(feeder, section) {
      const { run } = await desk.opened(feeder);
      return sectionPicture(run, indexOf(run, section));
    },
    day: async (feeder, visits) => dayOf((await desk.opened(feeder)).run, visits),
    async decide(request) {
      const { feeder, decisions } = readDecisions(request);
      const made = await desk.decide(feeder, decisions, formatInstant(Date.now() * 1000));
      decided(made);
      return made;
    },
    file: (feeder, request) => desk.download(feeder, readDownload(request)),
  };
}

function indexOf({ feeder }: FeederTrace, section: string): number {
  const v = feeder.indexOf.get(section);
  if (v !== undefined && v > 0) return v;
  throw new Trouble('not-found', `the feeder ${feeder.id} has no section ${JSON.stringify(section)}`);
}

/** @throws Trouble 'visits-invalid' */
function dayOf(run: FeederTrace, visits: number): readonly Visit[] {
  if (Number.isInteger(visits) && visits >= 1 && visits <= MOST_VISITS) return visitsOf(run, visits);
  throw new Trouble('visits-invalid', `visits must be a whole number from 1 to ${MOST_VISITS}`);
}
