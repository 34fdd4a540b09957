/** The field page in the browser: readings typed by hand on a phone. */
import { render } from 'preact';
import '../phasor-element';
import { FieldApp } from './app';
import { keepSending } from './outbox';
import { fetchPack } from './pack';
import { goToNamed } from './visit';
import './field.css';

void fetchPack().then(() => goToNamed(new URLSearchParams(location.search).get('place')));
keepSending();
window.addEventListener('online', () => void fetchPack());
// Browsers give workers to secure pages only; without one the page must be opened while there is a connection.
if (window.isSecureContext && 'serviceWorker' in navigator) {
  navigator.serviceWorker.register('./field-worker.js').catch(() => undefined);
}
render(<FieldApp />, document.getElementById('field')!);
