// Looking for a species that is not among the buttons.
import { gettext } from "../../language.js";
import { dialog, h } from "../../dom.js";
import { allSpecies } from "./species.js";

const MOST_RESULTS = 12;
const NONE =
  gettext("No species found. Do not pick another one instead: use “Unknown call” to record the call, ") +
  gettext("or write “heard, not named” in the note.");

/** Calls `pick(species)` with the one that was chosen. */
export function searchSpecies(pick) {
  const results = h("ul", { class: "plain-list picks" });
  const field = h("input", { type: "search", id: "species-search", autocomplete: "off", oninput: look });
  const label = h("label", { for: "species-search" }, gettext("Name, common or scientific"));
  const box = dialog(gettext("Another species"), h("div", { class: "field" }, label, field), results);

  function result(species) {
    const choose = () => {
      box.close();
      pick(species);
    };
    return h(
      "li",
      null,
      h(
        "button",
        { type: "button", class: "btn btn--block pick", onclick: choose },
        h("strong", null, species.common_name),
        h("span", { class: "species small" }, species.scientific_name),
      ),
    );
  }

  function look() {
    const wanted = field.value.trim().toLowerCase();
    const isWanted = ({ common_name, scientific_name }) =>
      wanted && `${common_name} ${scientific_name}`.toLowerCase().includes(wanted);
    const matches = allSpecies().filter(isWanted).slice(0, MOST_RESULTS);
    results.replaceChildren(...matches.map(result));
    if (wanted && !matches.length) results.append(h("li", null, NONE));
  }
  field.focus();
}
