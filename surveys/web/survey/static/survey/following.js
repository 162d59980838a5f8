// What became of the visits that are on the server: sent back, accepted, changed on another device.
import { gettext } from "./language.js";
import { iso, now } from "./clock.js";
import { ask } from "./http.js";
import * as store from "./store.js";
import { isWithdrawn, visitTitle } from "./status.js";

const PATIENCE_MS = 10_000;
const PAUSE_MS = 60_000;
const OLDEST_MS = 90 * 86_400_000;
const MOST = 100;
const TOLD = {
  sent_back: (visit) => gettext("{visit} is back with you. Open it to see why.", { visit }),
  withdrawn: (visit) => gettext("{visit} is withdrawn: you can change it again.", { visit }),
  accepted: (visit) => gettext("{visit} is accepted. Thank you.", { visit }),
};
let asked = -Infinity;

/** Ask again at once the next time, as after the network came back. */
export const followSoon = () => {
  asked = -Infinity;
};

/** Take in what is newer on the server, without a word where nothing answers. Gives sentences on
    visits whose state changed. */
export async function follow({ visits: url, slug }) {
  if (performance.now() - asked < PAUSE_MS) return [];
  const since = iso(now() - OLDEST_MS).slice(0, 10);
  const kept = (await store.getAll("visits")).filter(
    (visit) => visit.slug === slug && visit.revision !== null && visit.night >= since,
  );
  if (!kept.length) return [];
  const earliest = kept.map(({ night }) => night).sort()[0];
  const answer = await get(`${url}?mine=true&night_from=${earliest}&limit=${MOST}`);
  if (!answer) return [];
  asked = performance.now();
  const told = [];
  for (const { id, revision } of answer.results) {
    const visit = kept.find((one) => one.id === id);
    if (visit && revision > visit.revision) told.push(await takeIn(visit, `${url}${id}/`));
  }
  return told.filter(Boolean);
}

async function takeIn(visit, url) {
  const answer = await get(url);
  if (!answer) return null;
  await store.merge(visit.id, { ...answer, onlyNewer: true }, iso());
  const { state } = answer.visit;
  if (state === visit.state) return null;
  return TOLD[isWithdrawn(answer.visit) ? "withdrawn" : state]?.(visitTitle(visit));
}

async function get(url) {
  const read = (response) => (response.ok ? response.json() : null);
  const wanted = { headers: { Accept: "application/json" } };
  return ask(url, wanted, { patienceMs: PATIENCE_MS, once: true, read }).catch(() => null);
}
