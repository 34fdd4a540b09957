/** What the editor saved of a network, read. */
import { readFileSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { NodeAPI, NodeDef } from 'node-red';
import { type NetworkTexts, readNetwork } from '../../lib/network-document';
import type { NetworkNode } from './config-nodes';
import { asError, Trouble } from './trouble';

export interface NetworkDef extends NodeDef {
  source: string;
  document: string;
  file: string;
  openPointsFile: string;
}

/** The network, or what is wrong with it. */
export function networkOf(RED: NodeAPI, def: NetworkDef): NetworkNode {
  try {
    const found = readNetwork(def.source === 'file' ? fromFiles(RED, def) : written(def));
    if (found.ok) return { network: found.network, problem: undefined };
    return { network: undefined, problem: `network ${def.name || def.file || ''}: ${found.problems.join('; ')}` };
  } catch (cause) {
    return { network: undefined, problem: asError(cause).message };
  }
}

function written(def: NetworkDef): NetworkTexts {
  const text = def.document ?? '';
  if (text.trim() === '')
    throw new Trouble('config', 'the network is empty; paste a JSON document or a CSV table of terminals');
  return { text, ...(def.name ? { id: def.name } : {}) };
}

function fromFiles(RED: NodeAPI, def: NetworkDef): NetworkTexts {
  const file = (def.file ?? '').trim();
  if (file === '') throw new Trouble('config', 'no file is named; give a JSON or CSV file');
  const folder = RED.settings.userDir ?? process.cwd();
  const openPoints = (def.openPointsFile ?? '').trim();
  return {
    text: textOf(resolve(folder, file)),
    ...(openPoints === '' ? {} : { openPoints: textOf(resolve(folder, openPoints)) }),
    id: def.name || basename(file).replace(/\.[^.]*$/, ''),
  };
}

function textOf(path: string): string {
  try {
    return readFileSync(path, 'utf8');
  } catch (cause) {
    throw new Trouble('config', `the file ${path} cannot be read: ${(cause as Error).message}`);
  }
}
