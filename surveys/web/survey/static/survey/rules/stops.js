// Rules on the stops of a route.
import { breach, LEAVE_IT, listened } from "./case.js";
import { distanceM } from "./distance.js";
import { distance } from "./words.js";

/** The measured place gets the benefit of its stated accuracy. */
export function farFromStop(record) {
  const { max_distance_from_stop_m: most } = record.protocol;
  const unit = record.route.distance_unit;
  const places = new Map(record.route.stops.map((stop) => [stop.number, stop.place]));
  return listened(record).flatMap((period) => {
    if (most === null || !period.measured_at || !places.has(period.stop)) return [];
    const meters = distanceM(period.measured_at, places.get(period.stop));
    const accuracy = Math.max(0, period.measured_accuracy_m ?? 0);
    if (meters - accuracy <= most) return [];
    const give = accuracy ? ` (give or take ${distance(accuracy, unit)})` : "";
    return [
      breach(
        { stop: period.stop, field: "measured_at" },
        `The position was measured ${distance(meters, unit)}${give} from stop ${period.stop};` +
          ` the protocol allows ${distance(most, unit)}.`,
        "Check that this is the right stop. If the stop cannot be used any more, tell" +
          ` the coordinator. ${LEAVE_IT}`,
      ),
    ];
  });
}
