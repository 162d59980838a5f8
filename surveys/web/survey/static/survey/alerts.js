// A low tone, a vibration and a screen that stays awake; the first two can be off.
import { setSetting, setting } from "./store.js";

let audio = null;
let lock = null;
let wanted = false;
let asking = false;
const on = { sound: false, vibration: true };

export async function load() {
  on.sound = await setting("sound", on.sound);
  on.vibration = await setting("vibration", on.vibration);
}

export const isOn = (name) => on[name];

export async function turn(name, value) {
  on[name] = value;
  await setSetting(name, value);
  if (value) signal(1);
}

/** Make a sound possible: browsers allow it only after a touch. */
export function prepare() {
  if (!on.sound) return;
  audio ??= new AudioContext();
  if (audio.state === "suspended") audio.resume().catch(() => {});
}

/** Tell that a time is up, `times` in a row. */
export function signal(times = 2) {
  if (on.vibration) navigator.vibrate?.(Array.from({ length: 2 * times - 1 }, (_, i) => (i % 2 ? 150 : 300)));
  if (!on.sound) return;
  prepare();
  for (let i = 0; i < times; i += 1) tone(audio.currentTime + i * 0.45);
}

function tone(at) {
  const [voice, volume] = [audio.createOscillator(), audio.createGain()];
  voice.frequency.value = 330;
  volume.gain.setValueAtTime(0.0001, at);
  volume.gain.exponentialRampToValueAtTime(0.2, at + 0.03);
  volume.gain.exponentialRampToValueAtTime(0.0001, at + 0.35);
  voice.connect(volume).connect(audio.destination);
  voice.start(at);
  voice.stop(at + 0.4);
}

/** Keep the screen awake while something is timed. */
export async function keepAwake(awake) {
  wanted = awake;
  if (!awake) return lock?.release().catch(() => {});
  if (lock || asking || document.visibilityState !== "visible") return undefined;
  asking = true;
  const sentinel = await navigator.wakeLock?.request("screen").catch(() => null);
  asking = false;
  if (!sentinel) return undefined;
  lock = sentinel;
  sentinel.addEventListener("release", () => {
    lock = null;
  });
  return wanted ? undefined : keepAwake(false);
}

// After a reload in the middle of a stop the next touch, wherever it falls, makes sounds possible.
document.addEventListener("pointerdown", prepare);
document.addEventListener("visibilitychange", () => {
  if (wanted && document.visibilityState === "visible") keepAwake(true);
});
