// Keeps the field page for when there is no connection: asked for first, the kept copy only when nobody answers.
const KEPT = 'phaseloom-field-1';
const isPage = ({ pathname }) => pathname.endsWith('/field.html') || pathname.includes('/assets/');

self.addEventListener('install', (event) => {
  event.waitUntil(keepAll().then(() => self.skipWaiting()));
});
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));
self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method === 'GET' && url.origin === self.location.origin && isPage(url)) {
    event.respondWith(answer(event.request));
  }
});

/** The page with everything that it names: the worker came too late to see them fetched. */
async function keepAll() {
  const cache = await caches.open(KEPT);
  const address = new URL('field.html', self.registration.scope);
  const page = await fetch(address);
  const text = await page.clone().text();
  await cache.put(address, page);
  const named = [...text.matchAll(/(?:src|href)="(\.\/assets\/[^"]+)"/g)].map((m) => new URL(m[1], address));
  await cache.addAll(named);
}

async function answer(request) {
  const cache = await caches.open(KEPT);
  try {
    const fresh = await fetch(request);
    if (fresh.ok) await cache.put(request, fresh.clone());
    return fresh;
  } catch (cause) {
    const found = await cache.match(request, { ignoreSearch: true });
    if (found) return found;
    throw cause;
  }
}
