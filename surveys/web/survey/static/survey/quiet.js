// When no call may be played: it would be recorded, or be heard at the stop. Other tabs see it by a lock.
import { gettext } from "./language.js";

/** The beginning of the names of locks that are held while something is recorded. */
export const RECORDING = "duskpool-recording:";
const AT_STOP = "duskpool-at-stop";
let isWorking = false;
let letGo = null;

/** Hold a lock; gives what lets go of it. Browsers have locks by HTTPS only. */
export function hold(name) {
  if (!navigator.locks) return Promise.resolve(() => {});
  return new Promise((held) => {
    navigator.locks.request(name, { mode: "shared" }, () => new Promise((free) => held(free)));
  });
}

/** Whether somebody waits or listens at a stop with this phone. */
export function setWorking(working) {
  if (working === isWorking) return;
  isWorking = working;
  letGo?.();
  letGo = null;
  if (!working) return;
  hold(AT_STOP).then((free) => {
    if (isWorking) letGo = free;
    else free();
  });
}

/** Why no call may be played now, in words; blank where one may. */
export async function whyQuiet() {
  const { held } = (await navigator.locks?.query()) ?? { held: [] };
  if (held.some(({ name }) => name.startsWith(RECORDING)))
    return gettext("A recording is being made. Stop it before you play a call.");
  if (held.some(({ name }) => name === AT_STOP))
    return gettext("You are waiting or listening at a stop. Play calls when you have finished there.");
  return "";
}
