/** The board in the browser. */
import { render } from 'preact';
import { App } from './app';
import { listen } from './line';
import './style.css';

listen();
render(<App />, document.getElementById('board')!);
