import { render } from 'preact';

render(<h1>Phaseloom</h1>, document.getElementById('board')!);
