// The ways to the server: sending now, and signing in where the phone may not send.
import { gettext } from "../language.js";
import { button, h, icon, setText } from "../dom.js";

/** Sends visits and recordings, those that wait for Wi-Fi too. */
export function sendButton(app, kind = "") {
  const send = () => {
    app.sync?.syncAll();
    app.sounds?.soon(0, { anyway: true });
  };
  return button(gettext("Send now"), send, { kind, name: "sync" });
}

export function signInLink(config) {
  const words = h("span");
  const node = h("a", { class: "btn btn--block" }, icon("lock"), words);

  /** `kind` is that of the state of sending. */
  function show(kind) {
    const other = kind === "other-person";
    node.hidden = !other && kind !== "signed-out";
    node.href = other ? config.logout : config.login;
    setText(words, other ? gettext("Sign in as someone else") : gettext("Sign in"));
  }
  show();
  return { node, show };
}
