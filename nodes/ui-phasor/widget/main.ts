/** The widget in the browser: a Vue component, with the Vue that the dashboard shows to widgets. It draws what it is given and decides nothing. */
import { phaseStyles, phasorDiagram } from '../../../lib/phasor-diagram';
import type { PhasorView } from '../view';

type Sent = PhasorView & { readonly phases: readonly string[] };

interface Shown {
  readonly id: string;
  readonly $store: {
    readonly state: { readonly data: { readonly messages: Record<string, { payload?: Sent }> } };
  };
  readonly $dataTracker: (id: string) => void;
}

type H = (tag: string, props: object | null, children?: unknown) => unknown;
declare global {
  interface Window {
    Vue: { h: H };
    'ui-phaseloom-phasor'?: Record<string, unknown>;
  }
}

const PhasorWidget = {
  inject: ['$socket', '$dataTracker'],
  props: { id: String, props: Object, state: Object },
  created(this: Shown) {
    this.$dataTracker(this.id);
  },
  render(this: Shown) {
    const view = this.$store.state.data.messages[this.id]?.payload;
    return view?.pictures ? drawn(view) : window.Vue.h('div', { class: 'phaseloom-phasor' });
  },
};

function drawn(view: Sent): unknown {
  const { h } = window.Vue;
  const list = (name: string, texts: readonly string[]) =>
    texts.map((text) => h('p', { class: name, style: 'margin: 0 0 4px' }, text));
  const pictures = view.pictures.map(({ title, arrows }) =>
    // The diagram escapes every text it is given.
    h('div', {
      innerHTML: phasorDiagram(arrows, { title, styles: phaseStyles(view.phases) }),
      style: 'flex: 1 1 150px; max-width: 270px',
    }),
  );
  // What scrolls must be reached by keys.
  const frame = { class: 'phaseloom-phasor', style: 'overflow: auto; height: 100%', tabindex: 0 };
  return h('div', frame, [
    h('div', { role: 'status', style: 'font-weight: bold' }, list('phaseloom-verdict', view.lines)),
    ...list('phaseloom-reason', view.reasons),
    ...list('phaseloom-caution', view.cautions),
    h('div', { style: 'display: flex; flex-wrap: wrap; justify-content: center' }, pictures),
    ...list('phaseloom-scale', view.scales),
  ]);
}

// The dashboard asks for the component under the type of the node.
window['ui-phaseloom-phasor'] = { ...window['ui-phaseloom-phasor'], PhasorWidget };
