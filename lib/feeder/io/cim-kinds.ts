/** What a CIM model does not say of a line but its phases do: what stands at its head, and so how likely conductors cross there. */
import type { Feeder, FeederDocument, FeederSection } from '../model';

/**
 * A line behind a centre tap is a service, one with fewer conductors than what feeds it is a tap; the others stay spans. Taken for spans, all
 * of them would have too small a prior, which makes false confidence.
 * @param feeder the document as it is, indexed
 */
export function kindsFromPhases(
  document: FeederDocument,
  { indexOf, mask, parent }: Feeder,
  isSecondary: (node: string) => boolean,
): FeederDocument {
  const kindOf = ({ id, from }: FeederSection): Pick<FeederSection, 'kind'> => {
    if (isSecondary(from)) return { kind: 'service' };
    const v = indexOf.get(id);
    return v !== undefined && mask[v] !== mask[parent[v]!] ? { kind: 'tap' } : {};
  };
  return { ...document, sections: document.sections.map((s) => ({ ...s, ...kindOf(s) })) };
}
