/** The colours of the page, for drawing on a canvas. */
export interface Inks {
  readonly sheet: string;
  readonly ink: string;
  readonly quiet: string;
  readonly edge: string;
  readonly line: string;
  readonly accent: string;
  readonly call: string;
  readonly chosen: string;
  readonly phases: readonly [string, string, string];
}

/** Custom properties hold both themes; only a computed colour is one of them. */
export function inksOf(element: HTMLElement): Inks {
  const probe = document.createElement('span');
  element.append(probe);
  const ink = (name: string): string => {
    probe.style.color = `var(--${name})`;
    return getComputedStyle(probe).color;
  };
  const inks: Inks = {
    sheet: ink('sheet'),
    ink: ink('ink'),
    quiet: ink('quiet'),
    edge: ink('edge'),
    line: ink('line'),
    accent: ink('accent'),
    call: ink('call'),
    chosen: ink('chosen'),
    phases: [ink('phase-0'), ink('phase-1'), ink('phase-2')],
  };
  probe.remove();
  return inks;
}

/** Calls when the theme of the page changes; returns the way to stop. */
export function onInks(changed: () => void): () => void {
  const watch = new MutationObserver(changed);
  watch.observe(document.documentElement, { attributeFilter: ['data-theme'] });
  const scheme = matchMedia('(prefers-color-scheme: dark)');
  scheme.addEventListener('change', changed);
  return () => {
    watch.disconnect();
    scheme.removeEventListener('change', changed);
  };
}
