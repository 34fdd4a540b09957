/** Where in the board one is: #alerts, #site/quillmere/F3/S104, #records?kinds=comparison. */
import { signal } from '@preact/signals';

export const TABS = ['alerts', 'site', 'feeder', 'plan', 'records', 'health'] as const;
export type Tab = (typeof TABS)[number];

export interface Place {
  readonly tab: Tab;
  /** what of it, e.g. an alert's key or a site */
  readonly what: string;
  readonly query: URLSearchParams;
}

export const place = signal<Place>(read());
window.addEventListener('hashchange', () => (place.value = read()));

function read(): Place {
  const [path = '', query = ''] = location.hash.slice(1).split('?');
  const [name = '', ...rest] = path.split('/');
  const tab = TABS.find((t) => t === name) ?? 'alerts';
  return { tab, what: rest.map(decodeURIComponent).join('/'), query: new URLSearchParams(query) };
}

/** Ids keep their slashes. */
export const to = (tab: Tab, what = '', query?: URLSearchParams): string =>
  `#${tab}${what === '' ? '' : `/${what.split('/').map(encodeURIComponent).join('/')}`}${query && query.size > 0 ? `?${query}` : ''}`;

export function go(tab: Tab, what = '', query?: URLSearchParams, instead = false): void {
  if (!instead) location.hash = to(tab, what, query);
  else {
    history.replaceState(null, '', to(tab, what, query));
    place.value = read();
  }
}
