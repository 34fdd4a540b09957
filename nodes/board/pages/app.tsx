/** The frame of the board: where one is, who one is, how it looks, and the caution that always stands. */
import { effect } from '@preact/signals';
import { Alerts } from './alerts';
import { Feeder } from './feeder';
import { Health } from './health';
import { isLive } from './line';
import { place, TABS, type Tab, to } from './place';
import { PlanPage } from './plan/plan-page';
import { Records } from './records';
import { SitePage } from './site';
import { THEMES, theme } from './theme';
import { me } from './who';

const NAMES: Readonly<Record<Tab, string>> = {
  alerts: 'Alerts',
  site: 'Site',
  feeder: 'Feeder',
  plan: 'Load plan',
  records: 'Records',
  health: 'Health',
};
const PAGES = { alerts: Alerts, site: SitePage, feeder: Feeder, plan: PlanPage, records: Records, health: Health };
effect(() => {
  document.title = `${NAMES[place.value.tab]} – Phaseloom board`;
});

export function App() {
  const Page = PAGES[place.value.tab];
  return (
    <>
      {/* biome-ignore lint/a11y/useValidAnchor: it leads within the page, and the address after # is taken */}
      <a class="skip" href="#page" onClick={toPage}>
        To the page
      </a>
      <header>
        <span class="brand">Phaseloom</span>
        <nav aria-label="Pages">
          {TABS.map((tab) => (
            <a href={to(tab)} aria-current={place.value.tab === tab ? 'page' : undefined}>
              {NAMES[tab]}
            </a>
          ))}
        </nav>
        <div class="me">
          <span class="live" role="status">
            {isLive.value ? '● live' : '○ no connection'}
          </span>
          <label>
            You are{' '}
            <input
              value={me.value}
              placeholder="name or desk"
              autocomplete="name"
              onInput={(e) => (me.value = e.currentTarget.value)}
            />
          </label>
          <label>
            <span class="theme-word">Theme</span>{' '}
            <select value={theme.value} onChange={(e) => (theme.value = e.currentTarget.value)}>
              {THEMES.map((t) => (
                <option>{t}</option>
              ))}
            </select>
          </label>
        </div>
      </header>
      <main id="page" tabIndex={-1}>
        <Page />
      </main>
      <footer>
        Evidence from readings. Not a test for absence of voltage; it does not replace testing, earthing, switching
        orders, local rules or the judgement of qualified people, and permits nothing.
      </footer>
    </>
  );
}

/** The address after # is where one is; it must stay. */
function toPage(e: Event): void {
  e.preventDefault();
  document.getElementById('page')!.focus();
}
