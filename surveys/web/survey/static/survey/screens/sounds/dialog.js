// One recording: hear it, name it, delete it.
import { gettext } from "../../language.js";
import { button, dialog, h, question } from "../../dom.js";
import { stopText } from "../../model.js";
import { retry, soon, whereWords } from "../../recordings.js";
import { change, get, remove } from "../../soundstore.js";
import { pictureOf } from "./picture.js";
import { player } from "./player.js";
import { allSpecies, clockOf, KINDS, lengthOf, speciesName } from "./words.js";

/** `again` records another one at the same stop; only while somebody stands there. */
export async function showRecording(app, id, again) {
  const recording = await get(id);
  if (!recording) return;
  const sound = player(app, recording);
  const closeAndRecord = () => {
    box.close();
    again();
  };
  const box = dialog(
    `${KINDS[recording.kind]}, ${clockOf(recording)}`,
    h(
      "p",
      null,
      gettext("Stop {stop}, {length_of}. {where_words}", {
        stop: recording.stop,
        length_of: lengthOf(recording),
        where_words: whereWords(recording),
      }),
    ),
    recording.kind === "voucher" && speciesPart(recording),
    sound.node,
    recording.kind === "voucher" &&
      recording.state !== "sent" &&
      pictureOf(recording, again && closeAndRecord),
    recording.trouble?.stops && retryButton(id, () => box.close()),
    recording.state === "kept" && deleteButton(app, recording, () => box.close()),
  );
  box.addEventListener("close", sound.stop);
}

/** The species of a voucher, to choose until its upload has begun. */
function speciesPart(recording) {
  if (recording.begun || recording.state !== "kept")
    return h("p", null, gettext("Species: {species_name}.", { species_name: speciesName(recording) }));
  const call = stopText(recording.stop);
  const isHeard = ([code]) => !["", "0"].includes(call(`calls.${code}`));
  const option = ([code, name]) => h("option", { value: code, selected: code === recording.species }, name);
  const choice = h(
    "select",
    {
      id: "sound-species",
      onchange: () =>
        change(recording.id, (stored) => {
          stored.species = choice.value;
        }),
    },
    option(["", gettext("Unknown")]),
    h("optgroup", { label: gettext("Heard at this stop") }, allSpecies().filter(isHeard).map(option)),
    h(
      "optgroup",
      { label: gettext("Other species") },
      allSpecies()
        .filter((row) => !isHeard(row))
        .map(option),
    ),
  );
  return h("div", { class: "field" }, h("label", { for: "sound-species" }, gettext("Species")), choice);
}

function retryButton(id, close) {
  const send = () => {
    retry(id);
    close();
  };
  return button(gettext("Try again"), send, { kind: "block", name: "sync" });
}

function deleteButton(app, recording, close) {
  const ask = () => {
    close();
    askDelete(app, recording);
  };
  return button(gettext("Delete this recording"), ask, { kind: "quiet block", name: "close" });
}

function askDelete(app, recording) {
  const title = gettext("{kind} of {time}, {length}", {
    kind: KINDS[recording.kind],
    time: clockOf(recording),
    length: lengthOf(recording),
  });
  const box = question(
    gettext("Delete this recording?"),
    h("p", null, gettext("{title}. You cannot restore it.", { title })),
    button(
      gettext("Delete it"),
      async () => {
        box.close();
        await remove(recording.id);
        soon();
        app.snack(gettext("Recording deleted"));
      },
      { kind: "danger block" },
    ),
  );
}
