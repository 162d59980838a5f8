// Rules on the stops of a route.
import { breach, listened } from "./case.js";
import { distanceM } from "./distance.js";
import { distance } from "./params.js";

/** The measured place gets the benefit of its stated accuracy. */
export function farFromStop(record) {
  const { max_distance_from_stop_m: most } = record.protocol;
  const places = new Map(record.route.stops.map((stop) => [stop.number, stop.place]));
  return listened(record).flatMap((period) => {
    if (most === null || !period.measured_at || !places.has(period.stop)) return [];
    const meters = distanceM(period.measured_at, places.get(period.stop));
    const accuracy = Math.max(0, period.measured_accuracy_m ?? 0);
    if (meters - accuracy <= most) return [];
    return [
      breach(
        { stop: period.stop, field: "measured_at" },
        {
          distance: distance(meters),
          ...(accuracy ? { accuracy: distance(accuracy) } : {}),
          stop: period.stop,
          most: distance(most),
        },
        accuracy ? "accuracy" : "",
      ),
    ];
  });
}
