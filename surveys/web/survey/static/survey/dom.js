// Making elements without markup in strings: nothing that was typed can become a tag.
import { gettext } from "./language.js";
const SVG = "http://www.w3.org/2000/svg";

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(
    ...children.flat().filter((child) => child !== null && child !== undefined && child !== false),
  );
  return element;
}

export const h = (tag, props, ...children) => fill(document.createElement(tag), props, children);
export const svg = (tag, props, ...children) => fill(document.createElementNS(SVG, tag), props, children);

let icons = "";
export const setIcons = (address) => {
  icons = address;
};

export function icon(name) {
  const use = svg("use", { href: `${icons}#${name}` });
  return svg("svg", { class: "icon", "aria-hidden": "true", focusable: "false" }, use);
}

export function button(words, press, { kind = "", name, ...props } = {}) {
  const classes = [
    "btn",
    ...kind
      .split(" ")
      .filter(Boolean)
      .map((part) => `btn--${part}`),
  ].join(" ");
  return h(
    "button",
    { type: "button", class: classes, onclick: press, ...props },
    name && icon(name),
    h("span", null, words),
  );
}

/** Change a text only when it differs, so that live regions speak once. */
export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function setAttribute(element, name, value) {
  if (value === null || value === false) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

/** Sentences below each other, the first one standing out; put in anew only when they differ. */
export function setSentences(element, sentences) {
  const wanted = sentences.filter(Boolean);
  const key = wanted.join("\n");
  if (element.dataset.key === key) return;
  element.dataset.key = key;
  element.replaceChildren(...wanted.map((sentence) => h("p", null, sentence)));
}

/** A dialog that is shown at once, closes by its button or Escape, and is gone afterwards. */
export function dialog(title, ...children) {
  return shownDialog(title, gettext("Done"), children);
}

/** A dialog that asks; its button leaves everything as it is. */
export function question(title, ...children) {
  return shownDialog(title, gettext("Cancel"), children);
}

function shownDialog(title, close, children) {
  const head = h(
    "div",
    { class: "sheet-dialog__head" },
    h("h2", { id: "dialog-title" }, title),
    button(close, () => box.close()),
  );
  const box = newDialog("sheet-dialog", { "aria-labelledby": "dialog-title" }, head, ...children);
  document.body.append(box);
  box.showModal();
  return box;
}

/** A dialog on top of the dock, beside which the screen can be used. */
export function strip(label, ...children) {
  const box = newDialog("strip", { "aria-label": label }, ...children);
  (document.querySelector(".dock") ?? document.body).prepend(box);
  box.show();
  return box;
}

function newDialog(kind, props, ...children) {
  return h("dialog", { class: kind, ...props, onclose: ({ target }) => target.remove() }, ...children);
}
