/** Objects of a CIM model in RDF/XML. Names of classes and properties after IEC 61970-301 and IEC 61968-13, from memory. */
export const ref = (property: string, id: string) => `<cim:${property} rdf:resource="#${id}"/>`;
export const kind = (property: string, value: string) =>
  `<cim:${property} rdf:resource="http://iec.ch/TC57/CIM100#${value}"/>`;
export const figure = (property: string, value: number) => `<cim:${property}>${value}</cim:${property}>`;
export const of = (type: string, id: string, ...inner: string[]) =>
  `<cim:${type} rdf:ID="${id}"><cim:IdentifiedObject.name>${id.replace('_', '')}</cim:IdentifiedObject.name>${inner.join('')}</cim:${type}>`;
export const terminal = (id: string, equipment: string, node: string, n: number, code = '') =>
  of(
    'Terminal',
    id,
    ref('Terminal.ConductingEquipment', equipment),
    ref('Terminal.ConnectivityNode', node),
    figure('ACDCTerminal.sequenceNumber', n),
    code ? kind('Terminal.phases', `PhaseCode.${code}`) : '',
  );
export const tankEnd = (tank: string, id: string, n: number, code: string, at: string) =>
  of(
    'TransformerTankEnd',
    id,
    ref('TransformerTankEnd.TransformerTank', tank),
    figure('TransformerEnd.endNumber', n),
    kind('TransformerTankEnd.phases', `PhaseCode.${code}`),
    ref('TransformerEnd.Terminal', at),
  );
