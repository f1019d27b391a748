// The service worker: keeps one page and its files on the phone, so that it opens without signal. The service writes two
// lines before this one: `version`, which changes with any file, and `files`.

const page = new URL(self.registration.scope).pathname;
const store = `${page} ${version}`;

self.addEventListener('install', (e) => {
  e.waitUntil(caches.open(store).then((cache) => cache.addAll([page, ...files].map((f) => new Request(f, { cache: 'no-cache' })))));
});

// An older version of the page goes on with its own files until it is closed; then they go.
self.addEventListener('activate', (e) => {
  e.waitUntil(caches.keys().then((names) => Promise.all(names.filter((n) => n.startsWith(`${page} `) && n !== store).map((n) => caches.delete(n)))).then(() => self.clients.claim()));
});

self.addEventListener('fetch', (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== 'GET' || url.origin !== location.origin) return;
  const wanted = e.request.mode === 'navigate' ? page : url.pathname;
  if (wanted !== page && !files.includes(wanted)) return;
  e.respondWith(caches.open(store).then((cache) => cache.match(wanted)).then((kept) => kept ?? fetch(e.request)));
});
