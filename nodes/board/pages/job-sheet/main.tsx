/** The job sheet in the browser: job-sheet.html?place=OP-1&from=2026-05-04T08:00:00Z&to=2026-05-04T16:00:00Z&job=W-17. */
import { render } from 'preact';
import '../phasor-element';
import { get } from '../api';
import { Ask } from './ask';
import { Sheet } from './sheet';
import type { SheetAnswer } from './sheet-answer';
import './job-sheet.css';

const root = document.getElementById('sheet')!;
const asked = new URLSearchParams(location.search);

if (asked.get('place') && asked.get('from') && asked.get('to')) void show();
else render(<Ask asked={asked} />, root);

async function show(): Promise<void> {
  try {
    const answer = await get<SheetAnswer>('job-sheet', Object.fromEntries(asked));
    document.title = `Job sheet ${answer.place.id} ${answer.from.slice(0, 10)}`;
    render(<Sheet answer={answer} />, root);
  } catch (cause) {
    render(<Ask asked={asked} error={(cause as Error).message} />, root);
  }
}
