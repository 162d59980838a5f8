// Distance on the WGS84 ellipsoid by Lambert's formula, and the direction on the sphere.
// Source of the distance: W. D. Lambert 1942, J. Wash. Acad. Sci. 32:125-130 (from memory).
const EQUATORIAL_RADIUS_M = 6378137.0;
const FLATTENING = 1 / 298.257223563;
const NEARLY_OPPOSITE = 3.1;
const radians = (degrees) => (degrees * Math.PI) / 180;

export function distanceM(a, b) {
  const reducedA = Math.atan((1 - FLATTENING) * Math.tan(radians(a.latitude)));
  const reducedB = Math.atan((1 - FLATTENING) * Math.tan(radians(b.latitude)));
  const [mean, half] = [(reducedA + reducedB) / 2, (reducedB - reducedA) / 2];
  const halfTurn = radians(b.longitude - a.longitude) / 2;
  const haversine = Math.sin(half) ** 2 + Math.cos(reducedA) * Math.cos(reducedB) * Math.sin(halfTurn) ** 2;
  const angle = 2 * Math.asin(Math.min(1, Math.sqrt(haversine)));
  if (angle === 0 || angle > NEARLY_OPPOSITE) return EQUATORIAL_RADIUS_M * angle;
  const [sine, cosine] = [Math.sin(angle / 2) ** 2, Math.cos(angle / 2) ** 2];
  const x = ((angle - Math.sin(angle)) * (Math.sin(mean) * Math.cos(half)) ** 2) / cosine;
  const y = ((angle + Math.sin(angle)) * (Math.cos(mean) * Math.sin(half)) ** 2) / sine;
  return EQUATORIAL_RADIUS_M * (angle - (FLATTENING / 2) * (x + y));
}

/** Direction from a to b in degrees clockwise from north, 0 to 360. */
export function bearing(a, b) {
  const [from, to] = [radians(a.latitude), radians(b.latitude)];
  const turn = radians(b.longitude - a.longitude);
  const east = Math.sin(turn) * Math.cos(to);
  const north = Math.cos(from) * Math.sin(to) - Math.sin(from) * Math.cos(to) * Math.cos(turn);
  return ((Math.atan2(east, north) * 180) / Math.PI + 360) % 360;
}
