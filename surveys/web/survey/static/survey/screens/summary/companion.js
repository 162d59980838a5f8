// Who came along: a member of the program, chosen from the list that the phone keeps, or a guest.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";
import { model, onChange, text, write } from "../../model.js";
import { textBox } from "../textbox.js";

const MEMBER = "second_member";

/** Id and name of each; someone that was chosen stays in the list after they have left. */
const companions = () => model.packet.companions ?? [];

/** A phone's list holds those who were members when the route was saved. */
export const companionName = (id) =>
  companions().find(([key]) => key === id)?.[1] ?? gettext("Someone who may have left the program");

export function companionSection() {
  const label = gettext("Second observer, a member");
  const select = h("select", {
    id: `cell-${MEMBER}`,
    onchange: () => write({ [MEMBER]: select.value }, { undo: false }),
  });
  show(select);
  onChange(() => select.isConnected && show(select));
  return h(
    "div",
    null,
    h("div", { class: "field" }, h("label", { for: select.id }, label), select),
    textBox("second_observer", gettext("Second observer, a guest: name"), { rows: 1 }),
    h(
      "p",
      { class: "muted" },
      gettext("Choose a member, and they can read this visit, too."),
      " ",
      gettext("A guest’s name is for you and the coordinators. Ask the guest first."),
    ),
  );
}

function show(select) {
  const chosen = text(MEMBER);
  const known = companions().some(([id]) => id === chosen);
  const people = known || !chosen ? companions() : [...companions(), [chosen, companionName(chosen)]];
  const options = [["", gettext("No one")], ...people];
  select.replaceChildren(...options.map(([id, name]) => h("option", { value: id }, name)));
  select.value = chosen;
}
