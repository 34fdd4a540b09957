/** A network document of unknown origin, JSON or CSV, checked. */
import { Type } from '@sinclair/typebox';
import { FeederSchema } from './feeder/io/document';
import { makeNetwork, type Network, type NetworkDocument } from './network';
import { readNetworkCsv } from './network-csv';
import { isCollection, readNetworkGeojson } from './network-geojson';
import { Connection, Name, SCHEMA_BASE } from './records';
import { problemsAgainst } from './validate';

const Names = (description: string) => Type.Array(Name('id of a terminal'), { description });
const Viewing = Type.Union(
  (['left-to-right', 'road-to-field', 'top-to-bottom', 'near-to-far'] as const).map((v) => Type.Literal(v)),
);
const optional = Type.Optional;

export const NetworkSchema = Type.Object(
  {
    id: Name('network'),
    name: optional(Type.String()),
    terminals: Type.Array(
      Type.Object({
        id: Name('terminal: a path such as hollin-bank/F3/S118/2'),
        site: optional(Name('id of its site')),
        recordedPhase: optional(Name('phase label in the record')),
        connection: optional(Connection),
        nominalV: optional(Type.Number({ exclusiveMinimum: 0, description: 'nominal voltage phase to phase, volts' })),
        path: optional(Type.Array(Type.String(), { description: 'vector groups from the reference to here, or []' })),
      }),
      { minItems: 1 },
    ),
    sites: optional(
      Type.Array(
        Type.Object({
          id: Name('site'),
          name: optional(Type.String()),
          terminals: Names('in viewing order'),
          viewing: Viewing,
          position: optional(Type.Object({ lat: Type.Number(), lon: Type.Number() })),
        }),
      ),
    ),
    openPoints: optional(
      Type.Array(
        Type.Object({
          id: Name('open point'),
          name: optional(Type.String()),
          left: Names('facing terminals have the same index'),
          right: Names('facing terminals have the same index'),
          toleranceDeg: optional(Type.Number({ exclusiveMinimum: 0, maximum: 60 })),
          proofTerminal: optional(Name('conductor that both instruments read before and after')),
        }),
      ),
    ),
    feeders: optional(Type.Array(Type.Object(FeederSchema.properties))),
  },
  {
    $id: `${SCHEMA_BASE}network.schema.json`,
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    description: 'What the records say about the places where readings are taken.',
  },
);

export type NetworkRead =
  | { readonly ok: true; readonly network: Network; readonly document: NetworkDocument }
  | { readonly ok: false; readonly problems: readonly string[] };

export interface NetworkTexts {
  readonly text: string;
  /** open points of a CSV network, when they are not in the same text */
  readonly openPoints?: string;
  /** id of the network when the text does not say, as CSV never does */
  readonly id?: string;
}

/**
 * Reads a network from JSON or GeoJSON (texts that begin with a brace) or CSV, and checks it. The problems are sentences for people: where,
 * what, and what would be right.
 * @example readNetwork({ text: '{"id":"n","terminals":[{"id":"a/1"}]}' }).ok // true
 * @example readNetwork({ text: '{"id":"n"}' }).problems // ['/terminals: is missing; expected a member terminals']
 */
export function readNetwork(texts: NetworkTexts): NetworkRead {
  const read = texts.text.trimStart().startsWith('{') ? readJson(texts) : readNetworkCsv(texts);
  if (!read.ok) return read;
  try {
    return { ok: true, network: makeNetwork(read.document), document: read.document };
  } catch (cause) {
    if (!(cause instanceof RangeError)) throw cause;
    return { ok: false, problems: cause.message.split('\n').slice(1) };
  }
}

function readJson({ text, id }: NetworkTexts): DocumentRead {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    return { ok: false, problems: [`not JSON: ${(cause as Error).message}`] };
  }
  if (isCollection(value)) return readNetworkGeojson(value, id);
  const whole = id === undefined ? value : { id, ...(value as object) };
  const problems = problemsAgainst(NetworkSchema, whole);
  if (problems.length === 0) return { ok: true, document: whole as NetworkDocument };
  return { ok: false, problems: problems.map((p) => `${p.at || '/'}: ${p.what}; expected ${p.expected}`) };
}

export type DocumentRead =
  | { readonly ok: true; readonly document: NetworkDocument }
  | { readonly ok: false; readonly problems: readonly string[] };
