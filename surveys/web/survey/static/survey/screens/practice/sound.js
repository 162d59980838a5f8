// The button that plays what a question is about, as often as one likes.
import * as player from "../../../calls/player.js";
import { button, h, setText } from "../../dom.js";
import { gettext } from "../../language.js";
import { soundOf } from "../../references.js";

const NOT_HERE = gettext("This recording is not on this phone. Play it where there is signal.");

/** `node`; `stop()`, which ends what plays; `focus()`. */
export function sound(packet, question) {
  const trouble = h("p", { role: "status" });
  const play = gettext("Play");
  const toggle = button(play, press, { kind: "large block", name: "ear" });
  const words = toggle.querySelector("span");
  let stop = null;
  const ended = (why = "") => {
    stop = null;
    setText(words, play);
    setText(trouble, why);
  };

  async function press() {
    if (stop) return stop();
    setText(trouble, "");
    const why = await begun();
    if (why) return ended(why);
    stop = player.stop;
    return setText(words, gettext("Stop"));
  }

  async function begun() {
    const { celsius, distance, behind, seed, recording } = question;
    const made = question.voices.map(({ made_as: code, index }) => ({
      call: packet.calls[code]?.call,
      index,
    }));
    if (!recording) return player.play({ voices: made, celsius, distance, behind, seed }, ended);
    const kept = await soundOf(packet.slug, packet.references.find(({ id }) => id === recording).url);
    return kept ? player.playFile(kept, ended) : NOT_HERE;
  }
  return { node: h("div", null, toggle, trouble), stop: () => stop?.(), focus: () => toggle.focus() };
}
