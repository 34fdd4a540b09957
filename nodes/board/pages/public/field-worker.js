// Keeps the field page for when there is no connection: asked for first, the kept copy when nobody answers in time.
const KEPT = 'phaseloom-field-2';
const PATIENCE_MS = 4000;
const isPage = ({ pathname }) => pathname.endsWith('/field.html') || pathname.includes('/assets/');

self.addEventListener('install', (event) => {
  event.waitUntil(keepAll().then(() => self.skipWaiting()));
});
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));
self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method === 'GET' && url.origin === self.location.origin && isPage(url)) {
    event.respondWith(answer(event));
  }
});

const pageAddress = () => new URL('field.html', self.registration.scope);

/** The worker came too late to see the page fetched. */
async function keepAll() {
  const page = await fetch(pageAddress());
  if (!(await isOurs(page))) throw new Error('what answered is not the field page');
  await keepPage(page);
}

/** What the page names first, then the page: a page without its parts would be worse than the one before. */
async function keepPage(page) {
  const cache = await caches.open(KEPT);
  for (const address of await namedBy(page.clone())) {
    if (!(await cache.match(address))) await cache.add(address);
  }
  await cache.put(pageAddress(), page);
  await forgetOld();
}

async function namedBy(page) {
  const text = await page.text();
  return [...text.matchAll(/(?:src|href)="(\.\/assets\/[^"]+)"/g)].map((m) => new URL(m[1], pageAddress()).href);
}

/** Caches of earlier workers, and in this one what only an earlier page named. */
async function forgetOld() {
  const names = await caches.keys();
  await Promise.all(names.filter((n) => n.startsWith('phaseloom-field-') && n !== KEPT).map((n) => caches.delete(n)));
  const cache = await caches.open(KEPT);
  const page = await cache.match(pageAddress());
  if (!page) return;
  const named = new Set([pageAddress().href, ...(await namedBy(page))]);
  const kept = await cache.keys();
  await Promise.all(kept.filter(({ url }) => !named.has(url)).map((request) => cache.delete(request)));
}

async function answer(event) {
  const fresh = fetch(event.request);
  event.waitUntil(fresh.then((response) => keep(event.request, response.clone())).catch(() => undefined));
  const inTime = await Promise.race([fresh.catch(() => undefined), soon()]);
  if (inTime) return inTime;
  const cache = await caches.open(KEPT);
  return (await cache.match(event.request, { ignoreSearch: true })) ?? fresh;
}

const soon = () => new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));

/** One copy of the page, whatever place its address names; its parts come with it. */
async function keep(request, response) {
  if (new URL(request.url).pathname === pageAddress().pathname && (await isOurs(response))) await keepPage(response);
}

/** A page to sign in to answers with 200 too, mostly after being sent elsewhere. */
async function isOurs(response) {
  return response.ok && !response.redirected && (await response.clone().text()).includes('<div id="field">');
}
