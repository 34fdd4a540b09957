/** A webhook: CloudEvents 1.0 structured JSON by POST, with an idempotency key. */
import { Trouble } from '../kit/trouble';
import type { DueDelivery } from '../ledger/ledger';
import { CLOUD_EVENT_TYPE, cloudEvent } from './cloud-event';
import type { Answer, Target } from './target';

export interface HttpSettings {
  readonly url: string;
  readonly source: string;
  readonly timeoutMs: number;
  readonly token?: string;
  readonly user?: string;
  readonly password?: string;
  /** hosts (with port, if it matters) that may be called; undefined: any */
  readonly allowHosts?: readonly string[];
}

/** Statuses that a later attempt may not meet again: RFC 9110, RFC 6585, RFC 8470. */
const LATER = new Set([408, 425, 429]);
const LONGEST_WAIT_MS = 3_600_000;

/** @throws Trouble 'config' for an address that cannot or may not be called */
export function httpTarget(settings: HttpSettings): Target {
  const url = addressOf(settings);
  const stopping = new AbortController();
  return {
    label: url.host,
    offer: (delivery) => offer(url, settings, delivery, stopping.signal),
    close: async () => stopping.abort(),
  };
}

function addressOf({ url, allowHosts }: HttpSettings): URL {
  if (!URL.canParse(url)) throw new Trouble('config', 'the address is not a URL; it must look like https://host/path');
  const parsed = new URL(url);
  if (parsed.protocol !== 'https:' && parsed.protocol !== 'http:')
    throw new Trouble('config', `the address must begin with http:// or https://, not ${parsed.protocol}`);
  if (parsed.username || parsed.password)
    throw new Trouble('config', 'the address holds a user name or password; enter them in their own fields');
  if (allowHosts && !allowHosts.includes(parsed.host) && !allowHosts.includes(parsed.hostname)) {
    throw new Trouble(
      'config',
      `${parsed.host} is not among the hosts that settings.js allows (phaseloomHandoffAllowHosts)`,
    );
  }
  return parsed;
}

async function offer(url: URL, settings: HttpSettings, delivery: DueDelivery, stop: AbortSignal): Promise<Answer> {
  try {
    const response = await fetch(url, {
      method: 'POST',
      headers: headersOf(settings, delivery),
      body: JSON.stringify(cloudEvent(delivery.record, settings.source, delivery.subject)),
      // A redirect could lead to a host that is not allowed.
      redirect: 'manual',
      signal: AbortSignal.any([AbortSignal.timeout(settings.timeoutMs), stop]),
    });
    await response.body?.cancel();
    return answerTo(response);
  } catch (cause) {
    return { kind: 'later', why: whyNot(cause as Error, settings.timeoutMs) };
  }
}

function headersOf({ token, user, password }: HttpSettings, { key }: DueDelivery): Record<string, string> {
  const basic = user ? `Basic ${Buffer.from(`${user}:${password ?? ''}`).toString('base64')}` : undefined;
  const authorization = token ? `Bearer ${token}` : basic;
  return { 'content-type': CLOUD_EVENT_TYPE, 'idempotency-key': key, ...(authorization ? { authorization } : {}) };
}

function answerTo(response: Response): Answer {
  const { status } = response;
  if (status >= 200 && status < 300) return { kind: 'accepted', status: String(status) };
  const afterMs = retryAfterMs(response.headers.get('retry-after'));
  if (LATER.has(status) || status >= 500)
    return { kind: 'later', why: `answered ${status}`, ...(afterMs === undefined ? {} : { afterMs }) };
  return { kind: 'refused', why: `answered ${status}` };
}

/** Seconds or a date (RFC 9110). */
function retryAfterMs(text: string | null): number | undefined {
  if (text === null) return undefined;
  const ms = /^\d+$/.test(text) ? Number(text) * 1000 : Date.parse(text) - Date.now();
  return Number.isFinite(ms) ? Math.min(LONGEST_WAIT_MS, Math.max(0, ms)) : undefined;
}

/** The cause says more than "fetch failed"; nothing in it is a secret. */
function whyNot(error: Error, timeoutMs: number): string {
  if (error.name === 'TimeoutError') return `no answer within ${timeoutMs} ms`;
  const code = (error.cause as { code?: string } | undefined)?.code;
  return code ?? error.message;
}
