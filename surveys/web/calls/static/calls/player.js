// Plays one call at a time, and none by itself. What is played is kept nowhere.
import { gettext } from "../survey/language.js";
import { whyQuiet } from "../survey/quiet.js";
import { RATE_HZ, scene } from "./synthesis.js";

const SECONDS = 10;
const STARTS_WITHIN_MS = 3_000;
let context = null;
// A call that began just before somebody listens is not heard while they do.
const LOOK_MS = 500;
let playing = null;

/** Why nothing may be played now, in words; blank once it plays. `ended(why)` is called when it stops. */
export async function play(asked, ended) {
  const why = await whyQuiet();
  if (why) return why;
  stop();
  const samples = scene({ seconds: SECONDS, ...asked });
  context ??= new AudioContext();
  if (!(await starts(context)))
    return gettext("The sound does not start. Check this device’s sound, then tap again.");
  const buffer = context.createBuffer(1, samples.length, RATE_HZ);
  buffer.copyToChannel(samples, 0);
  const source = context.createBufferSource();
  source.buffer = buffer;
  source.connect(context.destination);
  const own = begun(() => source.stop(), ended);
  source.onended = () => over(own);
  source.start();
  return "";
}

/** Without a device for sound, some browsers leave the promise of `resume` open. */
async function starts(context) {
  if (context.state === "running") return true;
  const late = new Promise((resolve) => setTimeout(resolve, STARTS_WITHIN_MS));
  await Promise.race([context.resume(), late]);
  return context.state === "running";
}

/** The same of a recording. */
export async function playFile(sound, ended) {
  const why = await whyQuiet();
  if (why) return why;
  stop();
  const address = URL.createObjectURL(sound);
  const audio = new Audio(address);
  const own = begun(
    () => audio.pause(),
    (why) => {
      URL.revokeObjectURL(address);
      ended(why);
    },
  );
  audio.onended = () => over(own);
  await audio.play().catch((error) => {
    over(own);
    throw error;
  });
  return "";
}

/** `why` is blank where the user stops it. */
export function stop(why = "") {
  const own = playing;
  own?.halt();
  over(own, why);
}

function begun(halt, ended) {
  const own = { halt, ended };
  own.watch = setInterval(async () => {
    const why = await whyQuiet();
    if (why && own === playing) stop(why);
  }, LOOK_MS);
  playing = own;
  return own;
}

function over(one, why = "") {
  if (!one || one !== playing) return;
  playing = null;
  clearInterval(one.watch);
  one.ended(why);
}
