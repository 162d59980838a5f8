// A player of our own: the browser's would shine white at night.
import { gettext } from "../../language.js";
import { button, h, setText } from "../../dom.js";
import { fileOf } from "../../soundstore.js";
import { minutesAndSeconds } from "./words.js";

/** The node of a player of this recording, and `stop`, which ends it for good. */
export function player(app, recording) {
  const isOnServer = recording.state === "sent";
  const time = h("span", { class: "num" });
  const audio = new Audio();
  let url = null;
  const toggle = button(gettext("Play"), () => (audio.paused ? play() : audio.pause()), {
    kind: "block",
    name: "ear",
  });
  const label = toggle.querySelector("span");

  function update() {
    setText(label, audio.paused ? gettext("Play") : gettext("Pause"));
    setText(
      time,
      gettext("{time} of {length}", {
        time: minutesAndSeconds(audio.currentTime),
        length: minutesAndSeconds(recording.seconds),
      }),
    );
  }

  async function play() {
    url ??= isOnServer ? `${app.config.sounds}${recording.id}` : URL.createObjectURL(await fileOf(recording));
    if (!audio.src) audio.src = url;
    if (audio.ended) audio.currentTime = 0;
    await audio
      .play()
      .catch(() =>
        setText(
          time,
          isOnServer
            ? gettext("You need a connection to play this recording.")
            : gettext("This browser cannot play it, but it is saved."),
        ),
      );
  }

  function stop() {
    audio.pause();
    audio.removeAttribute("src");
    if (url?.startsWith("blob:")) URL.revokeObjectURL(url);
  }

  for (const name of ["play", "pause", "ended", "timeupdate"]) audio.addEventListener(name, update);
  update();
  return { node: h("div", { class: "player" }, toggle, time), stop };
}
