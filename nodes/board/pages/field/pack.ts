/** The frame and the network to decide with: asked for when there is a connection, else as last kept. */
import { computed, signal } from '@preact/signals';
import type { Frame } from '../../../../lib/frame';
import { makeNetwork, type NetworkDocument } from '../../../../lib/network';
import { STRICT, type TieRule } from '../../field/tie-rule';
import { get, Refusal } from '../api';
import { kept } from './kept';

interface Pack {
  readonly frame: Frame;
  readonly network: NetworkDocument;
  /** missing in one kept from an earlier board */
  readonly tieRule?: TieRule;
  readonly nowMs: number;
  readonly canEnter: boolean;
}

export const pack = kept<Pack | null>('pack', null);
if (pack.value && !isUsable(pack.value)) pack.value = null;
export const network = computed(() => (pack.value ? makeNetwork(pack.value.network) : undefined));
export const tieRule = computed(() => pack.value?.tieRule ?? STRICT);
/** why it could not be asked for */
export const packTrouble = signal('');
/** how far this phone's clock is ahead of the board's, milliseconds, as last seen */
export const aheadMs = signal(0);

export async function fetchPack(): Promise<void> {
  try {
    const askedMs = Date.now();
    const fresh = await get<Pack>('field/pack');
    if (!isUsable(fresh)) throw new Refusal('foreign-answer', 'what answered is no network and frame of a board');
    aheadMs.value = (askedMs + Date.now()) / 2 - fresh.nowMs;
    pack.value = fresh;
    packTrouble.value = '';
  } catch (cause) {
    packTrouble.value = (cause as Error).message;
  }
}

/** What cannot be decided with is never kept in the place of what can. */
function isUsable({ frame, network }: Pack): boolean {
  try {
    return Array.isArray(frame.phases) && Array.isArray(frame.references) && makeNetwork(network) !== undefined;
  } catch {
    return false;
  }
}
