// Keeps the survey screen on the phone. It answers for the files of the screen and nothing else:
// packets and visits lie in IndexedDB, and what goes to the server passes by untouched.
// The view that serves this file puts a line before it that sets `self.survey`.
const { version, version_header: versionHeader, shell, files, texts, past } = self.survey;
const KEPT = `survey:${shell}:${version}`;

// All or nothing, and only what belongs to this version: a network that wants a sign-in, or a server
// in the middle of an update, answers too. The page may not come from a redirect either.
async function fetchWhole(url, wanted) {
  const response = await fetch(new Request(url, { cache: "reload", redirect: "error", ...wanted }));
  if (!response.ok) throw new Error(`${url} answered ${response.status}`);
  return response;
}

async function fetchPage() {
  const page = await fetchWhole(shell);
  if (page.headers.get(versionHeader) !== version)
    throw new Error(`${shell} is not the page of version ${version}`);
  return page;
}

async function keepAll() {
  const fetched = Object.entries(files).map(async ([url, integrity]) => [
    url,
    await fetchWhole(url, { integrity }),
  ]);
  fetched.push(...texts.map(async (url) => [url, await fetchWhole(url)]));
  const whole = await Promise.all([fetchPage().then((page) => [shell, page]), ...fetched]);
  const cache = await caches.open(KEPT);
  await Promise.all(whole.map(([url, response]) => cache.put(url, response)));
}

async function dropOlder() {
  const older = (await caches.keys()).filter((name) => name.startsWith(`survey:${shell}:`) && name !== KEPT);
  await Promise.all(older.map((name) => caches.delete(name)));
}

async function answer(request, key) {
  const cache = await caches.open(KEPT);
  return (await cache.match(key)) ?? fetch(request);
}

/** Lets the browser take the screen from the cache, and talk to the server, without starting this
    worker, where it can. */
function passBy(event) {
  const kept = { cacheName: KEPT };
  const addresses = [...Object.keys(files), ...texts];
  return event.addRoutes?.([
    { condition: { urlPattern: new URLPattern({ pathname: shell }), requestMode: "navigate" }, source: kept },
    {
      condition: { or: addresses.map((pathname) => ({ urlPattern: new URLPattern({ pathname }) })) },
      source: kept,
    },
    {
      condition: { or: past.map((pathname) => ({ urlPattern: new URLPattern({ pathname }) })) },
      source: "network",
    },
  ]);
}

self.addEventListener("install", (event) => event.waitUntil(Promise.all([keepAll(), passBy(event)])));
self.addEventListener("activate", (event) => event.waitUntil(dropOlder().then(() => self.clients.claim())));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && url.pathname === shell) event.respondWith(answer(request, shell));
  else if (url.pathname in files || texts.includes(url.pathname))
    event.respondWith(answer(request, url.pathname));
  // Another address below the survey: without a network it leads to the screen too.
  else if (request.mode === "navigate")
    event.respondWith(fetch(request).catch(() => Response.redirect(shell)));
});
