/** Topics of Sparkplug B: spBv1.0/group/type/edge node, and /device for messages of a device. */

const TYPES = ['NBIRTH', 'NDEATH', 'NDATA', 'NCMD', 'DBIRTH', 'DDEATH', 'DDATA', 'DCMD'] as const;
export type SparkplugType = (typeof TYPES)[number];

export interface SparkplugTopic {
  readonly type: SparkplugType;
  readonly group: string;
  readonly edge: string;
  /** undefined: the edge node itself */
  readonly device: string | undefined;
}

export const SPARKPLUG_NAMESPACE = 'spBv1.0';

/**
 * Undefined for what is not a message of an edge node or device, such as STATE.
 * @example sparkplugTopic('spBv1.0/west/DDATA/S118/pole').device // 'pole'
 */
export function sparkplugTopic(topic: string): SparkplugTopic | undefined {
  const [namespace, group, word, edge, device, ...more] = topic.split('/');
  const type = TYPES.find((t) => t === word);
  if (namespace !== SPARKPLUG_NAMESPACE || !group || !type || !edge || more.length > 0) return undefined;
  if (type.startsWith('D') !== (device !== undefined && device !== '')) return undefined;
  return { type, group, edge, device };
}
