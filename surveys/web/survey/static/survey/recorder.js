// Recording sound: every second goes to the disk as it comes.
import { gettext } from "./language.js";
import { iso } from "./clock.js";
import { isFull } from "./database.js";
import { hold } from "./quiet.js";
import * as sounds from "./soundstore.js";

const PIECE_MS = 1_000;
const LONGEST_S = 600;
const LEVEL_MS = 125;
const QUIETEST_DB = -60;
const TYPES = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];
const BITS_A_SECOND = { voucher: 128_000, note: 48_000 };
// What a telephone does for voices takes frogs for noise.
const AS_IT_IS = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };

/** Why nothing can be recorded, and how to mend it. */
export class NoSound extends Error {}

const WORDS = {
  NotAllowedError: [
    gettext("This phone does not let the survey use the microphone."),
    gettext("Tap the icon left of the address (or hold the app’s icon, then App info),"),
    gettext("open Permissions, allow the microphone, and try again."),
  ].join(" "),
  NotFoundError: gettext("No microphone was found. Plug one in, or write a note instead."),
  NotReadableError: gettext(
    "Another app is using the microphone. End the call or close that app, then try again.",
  ),
  missing: gettext("This browser cannot record sound. Use another browser, or write a note instead."),
};

const FULL = gettext("The phone is full, so the recording stopped. Delete something, then start again.");

const typeOf = () => TYPES.find((type) => MediaRecorder.isTypeSupported(type));

async function microphone(kind) {
  if (!navigator.mediaDevices?.getUserMedia || !window.MediaRecorder || !typeOf())
    throw new NoSound(WORDS.missing);
  try {
    return await navigator.mediaDevices.getUserMedia({ audio: kind === "voucher" ? AS_IT_IS : true });
  } catch (error) {
    throw new NoSound(
      WORDS[error.name] ??
        gettext("The microphone does not work: {message}. Write a note instead.", { message: error.message }),
    );
  }
}

/**
 * Record until `stop` is called, the microphone goes away, the phone is full or the longest time is
 * over. `about`: what is known of the recording. `heard(level, seconds)` is called several times a
 * second, `level` from 0 to 1; `over(recording, words)` once at the end, `words` when it ended by
 * itself. Throws NoSound.
 */
export async function record(about, { heard, over }) {
  const stream = await microphone(about.kind);
  const type = typeOf();
  const id = crypto.randomUUID();
  const machine = new MediaRecorder(stream, {
    mimeType: type,
    audioBitsPerSecond: BITS_A_SECOND[about.kind],
  });
  const meter = levels(stream);
  const awake = await navigator.wakeLock?.request("screen").catch(() => null);
  const free = await hold(sounds.lockOf(id));
  let last = sounds.begin({ ...about, id, media_type: type, begun_at: iso() });
  let number = 0;
  let words = "";

  /** Some browsers hold back the clock of the sound while they record. The last piece is part of one. */
  const recorded = () =>
    meter.runs() ? meter.seconds() : (number - (machine.state === "inactive" ? 1 : 0)) * (PIECE_MS / 1_000);
  const stop = (why = "") => {
    words ||= why;
    if (machine.state !== "inactive") machine.stop();
  };

  machine.ondataavailable = ({ data }) => {
    if (!data.size) return;
    const piece = number++;
    const seconds = recorded();
    last = last
      .then(async () => sounds.append(id, piece, await data.arrayBuffer(), seconds))
      .catch((error) =>
        stop(
          isFull(error.cause ?? error)
            ? FULL
            : gettext("The phone could not save any more: {message}", { message: error.message }),
        ),
      );
  };
  machine.onerror = ({ error }) =>
    stop(gettext("The recording stopped: {message}", { message: error?.message ?? "unknown" }));
  machine.onstop = async () => {
    clearInterval(timer);
    for (const track of stream.getTracks()) track.stop();
    meter.close();
    await awake?.release().catch(() => {});
    await last.catch(() => {});
    const recording = await sounds.finish(id).catch(() => null);
    free();
    over(recording, words);
  };
  for (const track of stream.getTracks())
    track.addEventListener("ended", () =>
      stop(gettext("The microphone was disconnected, so the recording stopped.")),
    );
  const timer = setInterval(() => {
    heard(meter.level(), recorded());
    if (recorded() >= LONGEST_S)
      stop(
        gettext("A recording stops after {longest_s} minutes. Start another one if you need more.", {
          longest_s: LONGEST_S / 60,
        }),
      );
  }, LEVEL_MS);
  await last.catch((error) => {
    machine.onstop();
    throw new NoSound(isFull(error.cause ?? error) ? FULL : error.message);
  });
  machine.start(PIECE_MS);
  return { id, stop: () => stop() };
}

/** Loudness and time by the clock of the sound, which stands still when the phone holds it back. */
function levels(stream) {
  const context = new AudioContext();
  const analyser = context.createAnalyser();
  context.createMediaStreamSource(stream).connect(analyser);
  context.resume();
  const samples = new Float32Array(analyser.fftSize);
  const begun = context.currentTime;
  return {
    runs: () => context.state === "running",
    seconds: () => context.currentTime - begun,
    level: () => {
      analyser.getFloatTimeDomainData(samples);
      const power = samples.reduce((sum, sample) => sum + sample * sample, 0) / samples.length;
      return Math.min(1, Math.max(0, 1 - (10 * Math.log10(power + 1e-12)) / QUIETEST_DB));
    },
    close: () => context.close(),
  };
}
