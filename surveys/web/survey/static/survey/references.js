// The program's reference calls on the phone: taken along with a route, gone when its places go.
const NAME = "duskpool-calls:";
// Set while there are any. Without it nobody asks the cache: pages that were closed meanwhile stayed open.
const ANY = "duskpool-calls";

/**
 * Keep what the packet names, and nothing else. Gives how many are on the phone and their bytes;
 * one that could not be fetched is tried again with the next packet.
 */
export async function keepReferences({ slug, references = [] }) {
  if (!globalThis.caches) return { number: 0, bytes: 0 };
  if (!references.length) {
    if (localStorage.getItem(ANY)) await caches.delete(NAME + slug);
    return { number: 0, bytes: 0 };
  }
  localStorage.setItem(ANY, "yes");
  const cache = await caches.open(NAME + slug);
  const wanted = new Set(references.map(({ url }) => new URL(url, window.location.href).href));
  for (const { url } of await cache.keys()) if (!wanted.has(url)) await cache.delete(url);
  let [number, bytes] = [0, 0];
  for (const { url, bytes: size } of references) {
    if (!(await cache.match(url))) await cache.add(url).catch(() => {});
    if (!(await cache.match(url))) continue;
    number += 1;
    bytes += size;
  }
  return { number, bytes };
}

/** The ids of those of `references` that are on the phone. */
export async function keptReferences(slug, references = []) {
  if (!references.length || !localStorage.getItem(ANY)) return new Set();
  const cache = await globalThis.caches?.open(NAME + slug);
  const paths = new Set(((await cache?.keys()) ?? []).map(({ url }) => new URL(url).pathname));
  return new Set(references.filter(({ url }) => paths.has(url)).map(({ id }) => id));
}

/** The sound of one, from the phone or else from the server; null where neither has it. */
export async function soundOf(slug, url) {
  const kept = await globalThis.caches?.match(url, { cacheName: NAME + slug });
  const answer = kept ?? (await fetch(url, { redirect: "manual" }).catch(() => null));
  return answer?.ok ? answer.blob() : null;
}

export async function forgetReferences() {
  if (!localStorage.getItem(ANY)) return;
  const names = (await globalThis.caches?.keys()) ?? [];
  await Promise.all(names.filter((name) => name.startsWith(NAME)).map((name) => caches.delete(name)));
  localStorage.removeItem(ANY);
}
