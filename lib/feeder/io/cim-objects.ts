/** Objects of a CIM model (IEC 61970-301, RDF/XML after IEC 61970-552), from what an XML parser makes of the text. */

/**
 * Gives elements as members, several of a name as an array, attributes as members with `@` before the name, all without namespace
 * prefixes: what the package fast-xml-parser makes under `CIM_XML_OPTIONS`.
 */
export type ParseXml = (text: string) => unknown;

/** Options of fast-xml-parser's XMLParser that make it a `ParseXml`. */
export const CIM_XML_OPTIONS = {
  ignoreAttributes: false,
  attributeNamePrefix: '@',
  removeNSPrefix: true,
  parseTagValue: false,
  parseAttributeValue: false,
} as const;

export interface CimObject {
  readonly id: string;
  /** the id as the model writes it, for references into the model */
  readonly about: string;
  readonly type: string;
  readonly name: string;
  /** text of a property, or the last part of what it refers to (`PhaseCode.ABC` gives ABC); empty when it is not there */
  readonly text: (property: string) => string;
  /** id of the object a property refers to */
  readonly to: (property: string) => string;
}

export interface CimModel {
  readonly of: (...types: readonly string[]) => readonly CimObject[];
  readonly get: (id: string) => CimObject | undefined;
}

type Raw = Readonly<Record<string, unknown>>;

/** `#_x`, `_x`, `urn:uuid:x` and `x` are the same object. */
const idOf = (reference: string): string => reference.replace(/^(urn:uuid:|#)/, '').replace(/^_/, '');

const attribute = (value: unknown, name: string): string => String((value as Raw | undefined)?.[name] ?? '');

const listOf = (value: unknown): readonly unknown[] =>
  Array.isArray(value) ? value : value === undefined ? [] : [value];

/** @throws RangeError when the parser gave something else than RDF */
export function cimModel(text: string, parse: ParseXml): CimModel {
  const rdf = (parse(text) as Raw | undefined)?.RDF;
  if (typeof rdf !== 'object' || rdf === null) {
    throw new RangeError('there is no element rdf:RDF; expected a CIM model in RDF/XML');
  }
  const byType = new Map<string, CimObject[]>();
  const byId = new Map<string, CimObject>();
  for (const [type, values] of Object.entries(rdf as Raw)) {
    if (type.startsWith('@')) continue;
    const objects = listOf(values).map((v) => objectOf(type, v as Raw));
    byType.set(type, objects);
    for (const o of objects) byId.set(o.id, o);
  }
  return { of: (...types) => types.flatMap((t) => byType.get(t) ?? []), get: (id) => byId.get(id) };
}

function objectOf(type: string, raw: Raw): CimObject {
  const about = attribute(raw, '@ID') || attribute(raw, '@about');
  const text = (property: string): string => {
    const [value] = listOf(raw[property]);
    if (typeof value === 'string') return value.trim();
    const resource = attribute(value, '@resource');
    return resource ? resource.slice(resource.lastIndexOf('.') + 1) : attribute(value, '#text').trim();
  };
  return {
    id: idOf(about),
    about: about.startsWith('urn:') || about.startsWith('#') ? about : `#${about}`,
    type,
    name: text('IdentifiedObject.name'),
    text,
    to: (property) => idOf(attribute(listOf(raw[property])[0], '@resource')),
  };
}
