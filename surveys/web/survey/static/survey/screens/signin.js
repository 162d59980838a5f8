// The way back in when the phone may not send: signed out, or signed in as somebody else.
import { h, icon, setText } from "../dom.js";

export function signInLink(config) {
  const words = h("span");
  const node = h("a", { class: "btn btn--block" }, icon("lock"), words);

  /** `kind` is that of the state of sending. */
  function show(kind) {
    const other = kind === "other-person";
    node.hidden = !other && kind !== "signed-out";
    node.href = other ? config.logout : config.login;
    setText(words, other ? "Sign in as somebody else" : "Sign in");
  }
  show();
  return { node, show };
}
