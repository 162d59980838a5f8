// One recording: hear it, name it, delete it.
import { button, dialog, h } from "../../dom.js";
import { stopText } from "../../model.js";
import { retry, soon, whereWords } from "../../recordings.js";
import { change, get, remove } from "../../soundstore.js";
import { player } from "./player.js";
import { allSpecies, clockOf, KINDS, lengthOf, speciesName } from "./words.js";

export async function showRecording(app, id) {
  const recording = await get(id);
  if (!recording) return;
  const sound = player(app, recording);
  const box = dialog(
    `${KINDS[recording.kind]}, ${clockOf(recording)}`,
    h("p", null, `Stop ${recording.stop}, ${lengthOf(recording)}. ${whereWords(recording)}`),
    recording.kind === "voucher" && speciesPart(recording),
    sound.node,
    recording.trouble?.stops && retryButton(id, () => box.close()),
    recording.state === "kept" && deleteButton(app, recording, () => box.close()),
  );
  box.addEventListener("close", sound.stop);
}

/** The species of a voucher, to choose until its upload has begun. */
function speciesPart(recording) {
  if (recording.begun || recording.state !== "kept")
    return h("p", null, `Species: ${speciesName(recording)}.`);
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
    option(["", "Not named"]),
    h("optgroup", { label: "Heard at this stop" }, allSpecies().filter(isHeard).map(option)),
    h(
      "optgroup",
      { label: "Other species" },
      allSpecies()
        .filter((row) => !isHeard(row))
        .map(option),
    ),
  );
  return h("div", { class: "field" }, h("label", { for: "sound-species" }, "What calls"), choice);
}

function retryButton(id, close) {
  const send = () => {
    retry(id);
    close();
  };
  return button("Try to send it again", send, { kind: "block", name: "sync" });
}

function deleteButton(app, recording, close) {
  const ask = () => {
    close();
    askDelete(app, recording);
  };
  return button("Delete this recording", ask, { kind: "quiet block", name: "close" });
}

function askDelete(app, recording) {
  const title = `${KINDS[recording.kind]} of ${clockOf(recording)}, ${lengthOf(recording)}`;
  const box = dialog(
    "Delete this recording?",
    h("p", null, `${title}. It cannot be brought back.`),
    button(
      "Delete it",
      async () => {
        box.close();
        await remove(recording.id);
        soon();
        app.snack("The recording is deleted");
      },
      { kind: "danger block" },
    ),
  );
}
