// What the protocol would ask about if the observer began to listen now: said at the button, before.
import { gettext } from "../../language.js";
import { iso, now } from "../../clock.js";
import { model } from "../../model.js";
import { clock, distance } from "../../rules/words.js";
import { positionCells } from "./arrivals.js";

const MAY_BEGIN = ["away", "waiting", "ready"];
const STALE_MS = 3_000;

/** Of a clock time of a finding, with seconds or without. */
const instantOf = (param) => Date.parse(Object.values(param)[0]);

/** Rule to a short sentence; where there is none, the rule's own. */
const SHORT = {
  "outside-window": () => gettext("Tonight is outside every survey window."),
  "before-dusk": ({ params }, { zone }) =>
    gettext("Not before {clock}", { clock: clock(instantOf(params.earliest), zone) }),
  "after-last-hour": ({ params }, { zone }) =>
    gettext("The last hour here ends at {clock}.", { clock: clock(instantOf(params.latest), zone) }),
  "far-from-stop": ({ params }) =>
    gettext("You are {distance} from the stop.", {
      distance: distance(params.distance.distance_m, model.route.distance_unit),
    }),
  "wait-too-short": () => gettext("The quiet wait is not over."),
  "same-night-twice": ({ message }) => message,
  "too-soon-after-last-visit": ({ message }) => message,
  "stops-out-of-order": ({ message }) => message,
};

/** Sentences on beginning now, asked for as often as one likes: the rules are asked every few seconds. */
export function beforeListening(app, here) {
  let last = { phase: "", at: 0, sentences: [] };

  function judged(phase) {
    const { number } = here.stop;
    const begun = {
      status: "listened",
      started_at: iso(),
      finished_at: iso(now() + 1000 * here.protocol.listening_time),
      ...positionCells(number),
    };
    const assumed = Object.entries(begun).map(([name, typed]) => [`stops.${number}.${name}`, typed]);
    return app
      .judge(Object.fromEntries(assumed))
      .filter(({ code, stop }) => SHORT[code] && (stop === null || stop === number))
      .filter(({ code }) => phase === "waiting" || code !== "wait-too-short")
      .map((finding) => SHORT[finding.code](finding, here));
  }

  return (phase) => {
    if (!MAY_BEGIN.includes(phase) || !app.judge) return [];
    const isStale = Math.abs(now() - last.at) > STALE_MS;
    if (phase !== last.phase || isStale) last = { phase, at: now(), sentences: judged(phase) };
    return last.sentences;
  };
}
