// Asking the server. Connections break for a moment: when the network changes, the phone wakes up or
// the server starts anew. What is asked here can be asked again, so "no answer" is told after some tries.
const PAUSES_MS = [300, 1_000, 3_000];
const LATE = 2;

/** `kind`: offline; busy (no answer came, or none of our server); later (in `waitS`, or when the
    site is open again). */
export class NoAnswer extends Error {
  constructor(kind, waitS = 0) {
    super("");
    Object.assign(this, { kind, waitS });
  }
}

/** What `read` makes of the answer; when it throws, the answer was torn and is asked for again.
    `once`: no second try. `also`: a code of failure that is an answer. Raises NoAnswer. A phone
    that slept wakes up with its patience gone, so one try may be late. */
export async function ask(
  url,
  wanted,
  { patienceMs, once = false, also = 0, read = (response) => response },
) {
  let late = 0;
  for (const pause of once ? [null] : [...PAUSES_MS, null]) {
    try {
      const signal = AbortSignal.timeout(patienceMs);
      const response = await fetch(url, { ...wanted, redirect: "manual", cache: "no-store", signal });
      const wait = response.headers.get("Retry-After");
      if (response.status === 429 || (response.status === 503 && wait))
        throw new NoAnswer("later", Number(wait) || 0);
      if (response.status < 500 || response.status === also) return await read(response);
    } catch (error) {
      if (error instanceof NoAnswer) throw error;
      if (error.name === "TimeoutError") late += 1;
    }
    if (!navigator.onLine) throw new NoAnswer("offline");
    if (pause === null || late === LATE) break;
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
  throw new NoAnswer("busy");
}
