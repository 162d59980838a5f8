// Reads the text of one cell, as surveys/visits/sheet/texts.py does.
import { gettext } from "../language.js";
import { compare, decimal, toCelsius } from "../rules/decimal.js";
import * as params from "../rules/params.js";

const MISSING = new Set(["", "-", "–", "—", "t", "n/a", "na"]);
const NUMBER = /^([+-]?[0-9]{1,9}([.,][0-9]{1,9})?|[+-]?[.,][0-9]{1,9})$/;
const WITH_UNIT = /^(.*?)\s*(?:°|º|deg)?\s*([cf])$/is;
const RAIN = /^(.*?)\s*(mm|in|inch|inches|")$/is;
const TRACE = ["t", "tr", "trace"];
const MOST_RAIN = { mm: 2000, in: 80 };
const [COLDEST, HOTTEST] = [decimal("-90"), decimal("100")];
const [YES, NO] = [
  ["yes", "y", "true", "1"],
  ["no", "n", "false", "0"],
];
const MOST_QUOTED = 40;
const SHORTEST_WORD = 3;

/** A cell that cannot be read: the reading rule that says so, and what its sentence is filled with. */
export class CellError extends Error {
  constructor(code, variant = "", values = {}) {
    super(code);
    Object.assign(this, { code, variant, params: values });
  }
}

export const folded = (text) => text.trim().toLowerCase();
const onOneLine = (text) => text.split(/\s+/).filter(Boolean).join(" ");
export const isMissing = (text) => MISSING.has(folded(text));
export const isTrace = (text) => TRACE.includes(folded(text));

/** The text on one line, abbreviated, as a message quotes it. */
export function shortened(text) {
  const letters = [...onOneLine(text)];
  return letters.length > MOST_QUOTED ? `${letters.slice(0, MOST_QUOTED).join("")}…` : letters.join("");
}

export const unreadable = (kind, text, values = {}) =>
  new CellError("cell-unreadable", kind, { typed: shortened(text), ...values });

/** Digits with a decimal point: `12.5`, `-3`. An error quotes the whole cell. */
function digitsOf(digits, cell) {
  const typed = digits.trim().replace(/[−–]/g, "-");
  if (!NUMBER.test(typed)) throw unreadable("number", cell);
  return typed
    .replace(",", ".")
    .replace("+", "")
    .replace(/^(-?)\./, "$10.");
}

export const readNumber = (text) => Number(digitsOf(text, text));

export function readInteger(text) {
  const number = readNumber(text);
  if (!Number.isInteger(number)) throw unreadable("integer", text);
  return number;
}

function within(number, text, low, high) {
  if (number < low || number > high)
    throw new CellError("cell-out-of-range", "", { typed: shortened(text), low, high });
  return number;
}

export const numberBetween = (low, high) => (text) => within(readNumber(text), text, low, high);

/** A temperature in the unit of the sheet, unless the cell names its own. */
export const temperatureIn = (unit) => (text) => {
  const [, digits, own] = WITH_UNIT.exec(text.trim()) ?? [null, text, unit];
  const reading = { value: digitsOf(digits, text), unit: own.toUpperCase() };
  const celsius = toCelsius(reading);
  if (compare(celsius, COLDEST) < 0 || compare(celsius, HOTTEST) > 0)
    throw new CellError("cell-out-of-range", "temperature", { reading: params.temperature(reading) });
  return reading;
};

export function readUnit(text) {
  const typed = text.trim().replace(/^°+/, "").toUpperCase();
  if (["C", "F", "CELSIUS", "FAHRENHEIT"].includes(typed)) return typed[0];
  throw unreadable("temperature-unit", text);
}

export function readRainUnit(text) {
  const typed = folded(text);
  if (["in", "inch", "inches", '"'].includes(typed)) return "in";
  if (["mm", "millimeter", "millimeters"].includes(typed)) return "mm";
  throw unreadable("rain-unit", text);
}

export const checkRainIn = (unit) => (text) => {
  const [, digits, own] = RAIN.exec(text.trim()) ?? [null, text, unit];
  const of = own.toLowerCase() === "mm" ? "mm" : "in";
  if (isTrace(digits)) return;
  const amount = Number(digitsOf(digits, text));
  const most = MOST_RAIN[of];
  if (amount < 0 || amount > most)
    throw new CellError("cell-out-of-range", "rain", { typed: shortened(text), most, unit: of });
};

export function readYesNo(text) {
  const typed = folded(text);
  if (YES.includes(typed) || NO.includes(typed)) return YES.includes(typed);
  throw unreadable("yes-no", text);
}

export const choiceOf = (choices) => (text) => {
  const typed = folded(text).replaceAll(" ", "_");
  if (choices.includes(typed)) return typed;
  throw unreadable("choice", text, { choices: { or: choices.map((word) => ({ word })) } });
};

/** A text that is not too long for its place. */
export const textUpTo = (most) => (text) => {
  const typed = text.trim();
  const { length } = [...typed];
  if (length > most) throw new CellError("cell-too-long", "", { length, most });
  return typed;
};

/** What a code of the protocol stands for, if the text is one; `3.0` is the code 3. */
export function stateOfCode(text, codes) {
  const typed = folded(text).replace(/\.0$/, "");
  const code = Object.keys(codes).find((one) => one.toLowerCase() === typed);
  return code === undefined ? null : codes[code];
}

/** The state that a text names: by a code of the protocol, by its key, or by its name or the beginning
    of it; null where none. */
export function stateOf(text, states, codes) {
  const coded = stateOfCode(text ?? "", codes);
  if (coded !== null) return coded;
  const typed = folded(text ?? "").replace(/[\s_-]+/g, " ");
  const named = states.map(([key, name]) => [key, [name, gettext(name).toLowerCase()]]);
  const found = named.find(([key, names]) => [key.replaceAll("_", " "), ...names].includes(typed));
  if (found) return found[0];
  const begun = named.filter(([, names]) => names.some((name) => name.startsWith(typed)));
  return begun.length === 1 && typed.length >= SHORTEST_WORD ? begun[0][0] : null;
}

/** The same as a reader of a cell. `kind` is that of the parameter that names a state. */
export const stateIn = (states, codes, kind) => (text) => {
  const state = stateOf(text, states, codes);
  if (state !== null) return state;
  const choices = states.map(([key]) => ({
    or: [{ [kind]: key }, ...Object.keys(codes).filter((code) => codes[code] === key)],
  }));
  throw unreadable("choice", text, { choices: { or: choices } });
};

/** The key of a choice of an own field, by its key, its label or the beginning of the label. */
export const ownChoiceOf = (choices) => (text) => {
  const typed = onOneLine(text).toLowerCase();
  const found = choices.find(([key, label]) => [key, label.toLowerCase()].includes(typed));
  if (found) return found[0];
  const begun = choices.filter(([, label]) => label.toLowerCase().startsWith(typed));
  if (begun.length === 1 && typed.length >= SHORTEST_WORD) return begun[0][0];
  throw unreadable("choice", text, { choices: { or: choices.map(([, label]) => label) } });
};
