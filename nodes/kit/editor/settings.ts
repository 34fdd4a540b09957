/** Checks and texts of settings that one kind of dialog has. */
import type { EditorNode } from './node';
import { isChosen } from './validators';

/** Labels of the three phases of a frame; empty ones count as A, B, C. */
export const phasesOf = (frame: EditorNode): string[] =>
  [frame.phase1 || 'A', frame.phase2 || 'B', frame.phase3 || 'C'].map((label) => String(label).trim());

export const phasesDiffer = (_value: string, frame: EditorNode): boolean => {
  const phases = phasesOf(frame);
  return !phases.includes('') && new Set(phases).size === 3;
};

/** Rotation looks at three terminals named on it, or at the sites of a network. */
export function threeTerminalsOrSites(_value: string, node: EditorNode): boolean {
  const named = [node.terminal1, node.terminal2, node.terminal3].map((t) => String(t ?? '').trim());
  if (named.every((t) => t === '')) return isChosen(node.network);
  return !named.includes('') && new Set(named).size === 3;
}

/** An MQTT topic filter, also a shared one: + stands for one whole level, # for all that follow (MQTT 5.0, 4.7.1 and 4.8.2). */
export function isTopicFilter(filter: string): boolean {
  const levels = filter.replace(/^\$share\/[^+#/]+\//, '').split('/');
  return levels.every((level, i) => level === '+' || (level === '#' && i === levels.length - 1) || !/[+#]/.test(level));
}

const CHANNEL = ['pmu', 'channel', 'terminal', 'voltageIs', 'turnDeg', 'coupling'] as const;
type Channel = Partial<Record<(typeof CHANNEL)[number], string>>;

/** Channels of a synchrophasor stream stand one a line, cells apart by a semicolon or tab. */
export function channelRow(line: string): Channel {
  const cells = line.split(/[;\t]/).map((cell) => cell.trim());
  return Object.fromEntries(CHANNEL.map((name, i) => [name, cells[i] ?? '']).filter(([, cell]) => cell !== ''));
}

export const channelLine = (row: Channel): string =>
  CHANNEL.map((name) => row[name] ?? '')
    .join('; ')
    .replace(/[; ]+$/, '');
