// Rules on the program's own fields.
import { breach, listened } from "./case.js";

export function ownFieldMissing(record) {
  return (record.route.own_fields ?? [])
    .filter(({ required }) => required)
    .flatMap(({ key, label, per }) => {
      const isMissing = ({ own_filled }) => !own_filled?.includes(key);
      const field = `own.${key}`;
      if (per === "visit")
        return isMissing(record.visit) ? [breach({ field }, { field: label }, "visit")] : [];
      return listened(record)
        .filter(isMissing)
        .map(({ stop }) => breach({ stop, field }, { field: label, stop }));
    });
}
