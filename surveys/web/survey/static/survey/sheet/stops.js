// Reads one stop of the sheet into a listening period, as surveys/visits/sheet/stops.py does.
import { callOf } from "../rules/case.js";
import { NOISE, SKY } from "../rules/codes.js";
import { byDayError, readClock } from "./clocks.js";
import { labelsOf, readOwnFields } from "./own.js";
import { problem, sheetPart } from "./part.js";
import {
  CellError,
  choiceOf,
  isMissing,
  numberBetween,
  readInteger,
  readYesNo,
  shortened,
  temperatureIn,
  textUpTo,
  unreadable,
} from "./texts.js";

const CLOCKS = ["arrived_at", "started_at", "finished_at"];
const WATER = ["dry", "pools", "full", "not_seen"];
const CALLS = "calls.";

/** The period, or null when the stop was not reached or its status is unclear. `context`: night, unit,
    protocol and the program's own fields per stop. */
export function readStop(number, texts, context, problems) {
  const { ownOfStop } = context;
  const part = sheetPart(texts, problems, {
    stop: number,
    belongs: { stop: number },
    labels: labelsOf(ownOfStop),
  });
  if (![...texts.keys()].some((name) => !name.endsWith(".fold") && part.has(name))) return null;
  const status = readStatus(part);
  const own = readOwnFields(part, ownOfStop);
  const period = { ...readPeriod(part, status ?? "listened", context), own_filled: own };
  readFacts(part, status);
  return status && period;
}

/** A stop with a listening time or a call index counts as listened. */
function readStatus(part) {
  if (part.has("status")) return part.read("status", choiceOf(["listened", "skipped"]));
  const hasCalls = [...part.texts.keys()].some((name) => name.startsWith(CALLS) && part.has(name));
  if (hasCalls || part.has("started_at") || part.has("finished_at")) return "listened";
  part.report("status-unclear", "status", "", { stop: part.stop });
  return null;
}

function readPeriod(part, status, { night, unit, protocol }) {
  const times = Object.fromEntries(CLOCKS.map((name) => [name, readTime(part, name, night)]));
  const pause = part.read("paused_minutes", numberBetween(0, 600));
  if (status === "skipped" && (part.has("started_at") || part.has("finished_at")))
    part.report("skipped-with-times", "status", "", { stop: part.stop });
  return {
    stop: part.stop,
    status,
    ...times,
    paused: (pause ?? 0) * 60,
    air_temperature: part.read("air_temperature", temperatureIn(unit)),
    water_temperature: part.read("water_temperature", temperatureIn(unit)),
    beaufort: part.read("beaufort", readInteger),
    sky: part.readState("sky", SKY, protocol.sky_codes, "sky"),
    noise: part.readState("noise", NOISE, protocol.noise_codes, "noise"),
    measured_at: readPlace(part),
    measured_accuracy_m: part.read("accuracy_m", numberBetween(0, 100_000)),
    calls: readCalls(part),
  };
}

function readTime(part, name, night) {
  if (!part.has(name)) return null;
  try {
    const { instant, byDay } = readClock(part.text(name), part.text(`${name}.fold`), night);
    if (byDay) part.reportCell(byDayError(part.text(name), instant, night.zone), name);
    return new Date(instant).toISOString();
  } catch (error) {
    if (!(error instanceof CellError)) throw error;
    part.reportCell(error, name, error.ofFold ? `${name}.fold` : name);
    return null;
  }
}

function readPlace(part) {
  const latitude = part.read("latitude", numberBetween(-90, 90));
  const longitude = part.read("longitude", numberBetween(-180, 180));
  if (part.has("latitude") !== part.has("longitude"))
    part.report("position-incomplete", "latitude", "", { stop: part.stop });
  return latitude === null || longitude === null ? null : { latitude, longitude };
}

function readCalls(part) {
  const names = [...part.texts.keys()].filter((name) => name.startsWith(CALLS)).sort();
  return names.flatMap((name) => {
    const [species, typed] = [name.slice(CALLS.length), part.text(name).trim()];
    try {
      return [{ species, ...readCall(typed) }];
    } catch (error) {
      if (!(error instanceof CellError)) throw error;
      const where = { stop: part.stop, field: "index", species };
      const params = { typed: shortened(typed), species: { species }, stop: part.stop };
      part.problems.push(problem("cell-unreadable", where, "index", params));
      return [];
    }
  });
}

/** A dash or `T` is a call without an index. */
function readCall(typed) {
  if (isMissing(typed)) return { index: null };
  const { index, distance } = callOf(typed);
  if (index === "?") return { index: null, not_sure: true, distance };
  const read = readInteger(index);
  if (read === 0 && distance) throw unreadable("index", typed);
  return { index: read, distance };
}

/** What no rule looks at. */
function readFacts(part, status) {
  part.read("skip_reason", textUpTo(200));
  if (status === "skipped" && !part.text("skip_reason").trim())
    part.report("skip-reason-missing", "skip_reason", "", { stop: part.stop });
  part.read("interrupted", readYesNo);
  part.read("water_tonight", choiceOf(WATER));
}
