// Installing the survey, and asking the browser to keep what is on the phone.
import { gettext } from "../../language.js";
import { button, h, setText } from "../../dom.js";

const MAY_BE_CLEARED = gettext(
  "If this phone runs low on space, the browser may delete saved visits. Send yours soon after the night.",
);
const KEPT = gettext("The browser keeps what is saved here, even if the phone runs low on space.");
const REFUSED = gettext("The browser has not agreed to keep it yet. Install the survey, then try again.");
const BY_HAND = gettext(
  "To install: open the browser’s menu and tap “Add to Home screen”. On an iPhone, tap Share first.",
);
// The browser offers it once, at a moment of its own.
let offer = null;
window.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  offer = event;
});
const isInstalled = () => window.matchMedia("(display-mode: standalone)").matches;

/** Nothing to say where the survey is installed and its data are safe. */
export function keepingBox(app) {
  const state = h("p", { role: "status" });
  const keep = button(gettext("Keep my data"), askToKeep, { kind: "block" });
  const install = button(gettext("Install on this phone"), () => offer.prompt(), {
    kind: "block",
    name: "download",
  });
  const byHand = h("p", { class: "small" }, BY_HAND);
  const node = h(
    "section",
    { class: "panel", "aria-labelledby": "keeping-title", hidden: true },
    h("h2", { id: "keeping-title" }, gettext("Keep it on this phone")),
    state,
    h("p", null, gettext("Once installed, the survey opens from the home screen, with or without signal.")),
    keep,
    install,
    byHand,
  );

  async function askToKeep() {
    app.safe = (await navigator.storage?.persist?.()) ?? false;
    update(true);
    if (!app.safe) setText(state, REFUSED);
  }

  function update(hasData) {
    const mustInstall = !isInstalled();
    node.hidden = app.safe === null || !hasData || (app.safe && !mustInstall);
    keep.hidden = app.safe || !navigator.storage?.persist;
    install.hidden = !mustInstall || !offer;
    byHand.hidden = !mustInstall || Boolean(offer);
    if (app.safe) setText(state, KEPT);
    else if (state.textContent !== REFUSED) setText(state, MAY_BE_CLEARED);
  }
  return { node, update };
}
