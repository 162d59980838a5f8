// The reader's language. The page carries the translations of all texts of its scripts.
const carried = document.getElementById("catalog")?.textContent;
const catalog = carried ? JSON.parse(carried) : {};
const PLACE = /\{(\w+)\}/g;
let plurals = null;

/** The text with values in its places: `stop {stop}`. A place without a value is left. */
export function filled(text, values) {
  return text.replace(PLACE, (place, name) => values[name] ?? place);
}

/** The text in the reader's language, with values in its places. */
export function gettext(text, values = {}) {
  return filled(catalog[text] ?? text, values);
}

/** A text with a number, in the form that the reader's language has for that number. */
export function ngettext(singular, plural, number, values = {}) {
  const forms = catalog[singular] ?? [singular, plural];
  plurals ??= new Intl.PluralRules(document.documentElement.lang || "en");
  return filled(forms[plurals.select(number) === "one" ? 0 : 1], { number, ...values });
}

/** Mark a text that is translated when it is shown. */
export const marked = (text) => text;
