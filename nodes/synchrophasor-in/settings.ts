/** What the editor saved, with defaults for what it left out, checked. */
import type { NodeDef } from 'node-red';
import type { Clock, Coupling, VoltageIs } from '../../lib/records';
import type { ChannelRow } from '../../lib/synchrophasor';
import { type NumberSetting, numberOr, oneOf, optionalNumber } from '../kit/config-values';
import { Trouble } from '../kit/trouble';

/** A row as the editor saved it. */
export interface RowDef {
  pmu?: string;
  channel?: string;
  terminal?: string;
  voltageIs?: string;
  turnDeg?: NumberSetting;
  coupling?: string;
}

export interface SynchrophasorInDef extends NodeDef {
  transport: string;
  host: string;
  port: NumberSetting;
  localPort: NumberSetting;
  idCode: NumberSetting;
  configuration: string;
  channels: readonly RowDef[];
  timeSource: string;
  lockedErrorUs: NumberSetting;
  sigmaDeg: NumberSetting;
  everyS: NumberSetting;
  silenceS: NumberSetting;
}

export type Transport = 'tcp' | 'udp' | 'tcp-udp';

export interface Settings {
  readonly transport: Transport;
  /** empty: only listen (UDP) */
  readonly host: string;
  readonly port: number;
  readonly localPort: number;
  readonly idCode: number;
  readonly configuration: 'config-2' | 'config-3';
  readonly channels: readonly ChannelRow[];
  readonly timeSource: Clock['source'];
  readonly lockedErrorUs: number | undefined;
  readonly everyS: number;
  readonly silenceS: number;
}

const PORT = { least: 1, most: 65_535 };
const SOURCES = ['unstated', 'gnss', 'ptp', 'ntp', 'radio'] as const;
const VOLTAGES = ['', 'phase-to-earth', 'phase-to-neutral', 'phase-to-phase'] as const;
const COUPLINGS = ['', 'contact', 'test-point', 'air', 'unknown'] as const;

/** @throws Trouble 'config' that says which setting does not work and what would */
export function readSettings(def: SynchrophasorInDef): Settings {
  const transport = oneOf('transport', def.transport, ['tcp', 'udp', 'tcp-udp']);
  const host = (def.host ?? '').trim();
  if (host === '' && transport !== 'udp') throw new Trouble('config', 'no host is given: name the PMU or concentrator');
  const localPort = optionalNumber('localPort', def.localPort, PORT);
  if (localPort === undefined && (host === '' || transport === 'tcp-udp')) {
    throw new Trouble('config', 'no local port is given: data come to it by UDP');
  }
  const source = oneOf('timeSource', def.timeSource, SOURCES);
  return {
    transport,
    host,
    port: numberOr(transport === 'udp' ? 4713 : 4712, 'port', def.port, PORT),
    localPort: localPort ?? 0,
    idCode: numberOr(1, 'idCode', def.idCode, { least: 1, most: 65_534 }),
    configuration: oneOf('configuration', def.configuration, ['config-2', 'config-3']),
    channels: rowsOf(def),
    timeSource: source === 'unstated' ? undefined : source,
    lockedErrorUs: optionalNumber('lockedErrorUs', def.lockedErrorUs, { least: 0.001, most: 1e6 }),
    everyS: numberOr(1, 'everyS', def.everyS, { least: 0, most: 86_400 }),
    silenceS: numberOr(10, 'silenceS', def.silenceS, { least: 0.1, most: 3600 }),
  };
}

function rowsOf(def: SynchrophasorInDef): ChannelRow[] {
  const rows = def.channels ?? [];
  if (rows.length === 0)
    throw new Trouble('config', 'no channel is named: say which voltage channel is which terminal');
  const sigmaDeg = optionalNumber('sigmaDeg', def.sigmaDeg, { least: 1e-6, most: 180 });
  return rows.map((row, i) => ({ ...rowOf(row, `channels[${i}]`), ...(sigmaDeg === undefined ? {} : { sigmaDeg }) }));
}

function rowOf(row: RowDef, at: string): ChannelRow {
  const [pmu, channel, terminal] = [row.pmu, row.channel, row.terminal].map((t) => String(t ?? '').trim());
  if (!pmu || !channel || !terminal) {
    throw new Trouble('config', `${at} needs a PMU (its IDCODE or station name), a channel name and a terminal`);
  }
  const voltageIs = oneOf<string>(`${at}.voltageIs`, row.voltageIs, VOLTAGES as unknown as [string, ...string[]]);
  const coupling = oneOf<string>(`${at}.coupling`, row.coupling, COUPLINGS as unknown as [string, ...string[]]);
  const turnDeg = optionalNumber(`${at}.turnDeg`, row.turnDeg, { least: -360, most: 360 });
  return {
    pmu,
    channel,
    terminal,
    ...(voltageIs ? { voltageIs: voltageIs as VoltageIs } : {}),
    ...(coupling ? { coupling: coupling as Coupling } : {}),
    ...(turnDeg === undefined ? {} : { turnDeg }),
  };
}
