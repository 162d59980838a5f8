// Digits by the keyboard of digits, and beside the cell the few keys that it lacks: ? of a call index,
// T of rain, the minus of degrees, am and pm. Style sheets show them where a finger types.
import { gettext } from "../survey/language.js";

const WORDS = {
  "?": gettext("? not sure"),
  "-": gettext("− minus"),
  T: gettext("T trace"),
  near: gettext("near"),
  far: gettext("far"),
  am: gettext("am"),
  pm: gettext("pm"),
};
const bar = document.createElement("div");
bar.className = "number-keys";
// A tap on a key leaves the keyboard where it is.
bar.addEventListener("pointerdown", (event) => event.preventDefault());

/** What is in the cell after a key; the same key again takes it away. */
function pressed(text, key) {
  const typed = text.trim();
  if (["?", "T"].includes(key)) return typed === key ? "" : key;
  if (key === "-") return /^[-−]/.test(typed) ? typed.slice(1) : `-${typed}`;
  const others = bar.dataset.keys.split(" ").filter((other) => /[a-z]/.test(other));
  const bare = typed.replace(new RegExp(`\\s*(?:${others.join("|")})$`, "i"), "");
  return typed.toLowerCase().endsWith(key) ? bare : `${bare} ${key}`.trim();
}

function press(input, key) {
  input.value = pressed(input.value, key);
  input.dispatchEvent(new Event("input", { bubbles: true }));
}

function showBar(input) {
  bar.dataset.keys = input.dataset.keys;
  const keys = bar.dataset.keys.split(" ").map((key) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "btn btn--small";
    button.textContent = WORDS[key];
    button.addEventListener("click", () => press(input, key));
    return button;
  });
  bar.replaceChildren(...keys);
  input.after(bar);
}

for (const input of document.querySelectorAll("input[data-keys]")) {
  input.inputMode = input.dataset.keyboard;
  input.addEventListener("focus", () => showBar(input));
}
document.addEventListener("focusin", ({ target }) => {
  if (!target.matches("input[data-keys]") && !bar.contains(target)) bar.remove();
});
