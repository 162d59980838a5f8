// Where there is no network, every address of the site leads to the survey that is kept on this phone,
// and one of the guide to its page there. This worker keeps nothing, and answers nothing else.
const KEPT = /^survey:(.+):[^:]*$/;
const GUIDE = /^\/guide\/(.*?)\/?$/;

/** The survey of the program that the address is of, else one that is kept. */
async function surveyFor({ pathname }) {
  const shells = (await caches.keys()).flatMap((name) => KEPT.exec(name)?.[1] ?? []);
  const shell = shells.find((one) => pathname.startsWith(one.replace(/survey\/$/, ""))) ?? shells.at(-1);
  if (!shell) return Response.error();
  const page = GUIDE.exec(pathname)?.[1];
  return Response.redirect(page === undefined ? shell : `${shell}#/guide/${page}`);
}

async function answer({ request, preloadResponse }) {
  try {
    return (await preloadResponse) ?? (await fetch(request));
  } catch {
    return surveyFor(new URL(request.url));
  }
}

self.addEventListener("activate", (event) => event.waitUntil(self.registration.navigationPreload?.enable()));
self.addEventListener("fetch", (event) => {
  const { mode, method } = event.request;
  if (mode === "navigate" && method === "GET") event.respondWith(answer(event));
});
