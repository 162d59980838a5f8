// One part of the sheet while it is read: its texts, its place, and the problems found.
import { READING } from "../rules/table.js";
import { CellError, isMissing, stateIn, stateOfCode } from "./texts.js";

/** A finding of a reading rule, as rules make them. */
export const problem = (code, where, variant, params) => ({
  code,
  severity: READING[code],
  stop: null,
  field: null,
  species: null,
  ...where,
  variant,
  params,
});

/** `prefix` stands before the names of fields in findings. `belongs` says in messages what the cells are
    part of; `labels` are names of cells that have none in our vocabulary. */
export function sheetPart(texts, problems, { stop = null, prefix = "", belongs = {}, labels = {} } = {}) {
  const text = (name) => texts.get(name) ?? "";
  const has = (name) => !isMissing(text(name));
  const where = (name) => ({ stop, field: prefix + name });

  function report(code, name, variant = "", params = {}) {
    problems.push(problem(code, where(name), variant, params));
  }

  /** What is wrong with a cell, which the message names, said beside it or another cell. */
  function reportCell({ code, variant, params }, name, beside = name) {
    const cell = { name: labels[name] ?? name, ...belongs };
    report(code, beside, variant, { ...params, cell: { cell } });
  }

  /** The value of a cell; null when it is missing or cannot be read, which is reported. */
  function read(name, reader, missing = isMissing) {
    if (missing(text(name))) return null;
    try {
      return reader(text(name));
    } catch (error) {
      if (!(error instanceof CellError)) throw error;
      reportCell(error, name);
      return null;
    }
  }

  /** A code may be a letter that elsewhere means "missing". */
  function readState(name, states, codes, kind) {
    const missing = (typed) => isMissing(typed) && stateOfCode(typed, codes) === null;
    return read(name, stateIn(states, codes, kind), missing);
  }

  return { stop, texts, problems, text, has, report, reportCell, read, readState };
}
