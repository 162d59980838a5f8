// A recording as a picture, and what is wrong with it, while there is time to make another.
import { button, h, icon } from "../../dom.js";
import { gettext } from "../../language.js";
import { fileOf } from "../../soundstore.js";
import { check, RATE_HZ } from "./soundcheck.js";

// A longer one would take a phone too long.
const LONGEST_S = 180;
const WHOLE = new Intl.NumberFormat(document.documentElement.lang || "en");
const PICTURE = gettext(
  "Picture of the sound: time from left to right, pitch up to 8,000 Hz from bottom to top",
);
const ADVICE = {
  cut: gettext("Too loud: part of the sound is cut off. Turn the phone away and record again."),
  wind: gettext("Wind or an engine covers much of the sound. Shield the microphone and record again."),
  silent: gettext("Hardly anything is on it. Check that nothing covers the microphone, and record again."),
};

/**
 * Fills in by itself; stays empty where the phone cannot read the sound. With a warning there is a button for
 * `again`, where it is given.
 */
export function pictureOf(recording, again) {
  const node = h("div", { class: "sound-picture", role: "status" });
  if (recording.seconds <= LONGEST_S) show(node, recording, again);
  return node;
}

async function show(node, recording, again) {
  const samples = await samplesOf(recording).catch(() => null);
  if (!samples?.length) return;
  const { advice, loudestHz, columns } = check(samples);
  const pitch = loudestHz && Math.round(loudestHz / 50) * 50;
  const warning = (name) =>
    h("div", { class: "message message--warning" }, icon("warning"), h("p", null, ADVICE[name]));
  const canvas = h("canvas", {
    width: columns.length,
    height: columns[0].length,
    role: "img",
    "aria-label": PICTURE,
  });
  node.append(
    canvas,
    ...advice.map(warning),
    advice.length && again ? button(gettext("Record again"), again, { kind: "block", name: "record" }) : "",
    pitch
      ? h(
          "p",
          { class: "small muted" },
          gettext("Loudest pitch: about {pitch} Hz.", { pitch: WHOLE.format(pitch) }),
        )
      : "",
  );
  paint(canvas, columns);
}

/** Mono, at RATE_HZ. */
async function samplesOf(recording) {
  const file = await (await fileOf(recording)).arrayBuffer();
  const sound = await new OfflineAudioContext(1, 1, RATE_HZ).decodeAudioData(file);
  const channels = Array.from({ length: sound.numberOfChannels }, (_, i) => sound.getChannelData(i));
  return channels[0].map((_, i) => channels.reduce((sum, channel) => sum + channel[i], 0) / channels.length);
}

/** In the color of the words around it, so that it does not shine at night. */
function paint(canvas, columns) {
  const { width, height } = canvas;
  const context = canvas.getContext("2d");
  const image = context.createImageData(width, height);
  columns.forEach((column, x) =>
    column.forEach((ink, bin) => {
      image.data[4 * ((height - 1 - bin) * width + x) + 3] = 255 * ink;
    }),
  );
  context.putImageData(image, 0, 0);
  context.globalCompositeOperation = "source-in";
  context.fillStyle = getComputedStyle(canvas).color;
  context.fillRect(0, 0, width, height);
}
