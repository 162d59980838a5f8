// Reads the cells of the program's own fields, as surveys/visits/sheet/own_fields.py does.
import {
  CellError,
  folded,
  isMissing,
  ownChoiceOf,
  readInteger,
  readNumber,
  readYesNo,
  shortened,
  textUpTo,
} from "./texts.js";

const LONGEST_TEXT = 500;
const READERS = {
  number: (field) => (text) => within(readNumber(text), text, field),
  whole: (field) => (text) => within(readInteger(text), text, field),
  yes_no: () => readYesNo,
  choice: ({ choices }) => ownChoiceOf(choices),
  text: () => textUpTo(LONGEST_TEXT),
};

export const cellOfOwn = ({ key }) => `own.${key}`;
export const labelsOf = (fields) =>
  Object.fromEntries(fields.map((field) => [cellOfOwn(field), field.label]));

/** Packets of an earlier release have no bounds. */
function within(number, text, { low = null, high = null }) {
  const isBelow = low !== null && number < boundOf(low);
  if (!isBelow && !(high !== null && number > boundOf(high))) return number;
  const bounds = { ...(low !== null && { low }), ...(high !== null && { high }) };
  const names = Object.keys(bounds);
  throw new CellError("cell-out-of-range", names.length === 2 ? "" : `only-${names[0]}`, {
    typed: shortened(text),
    ...bounds,
  });
}

const boundOf = (text) => Number(text.replace("−", "-"));

/** A choice may be called what elsewhere means "missing". */
const isMissingIn = (choices) => (text) =>
  isMissing(text) && !choices.some((names) => names.some((name) => name.toLowerCase() === folded(text)));

/** The keys of the fields that have a value; what cannot be read is reported. */
export function readOwnFields(part, fields) {
  return fields
    .filter(
      (field) => part.read(cellOfOwn(field), READERS[field.kind](field), isMissingIn(field.choices)) !== null,
    )
    .map(({ key }) => key);
}
