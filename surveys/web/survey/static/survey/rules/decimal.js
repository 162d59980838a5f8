// Exact decimal numbers: limits are compared and shown to the last digit, as the server does it.

/** Parse "−12.50", "3" or a number into { digits, places }. */
export function decimal(text) {
  const match = /^([+-]?)(\d*)(?:\.(\d*))?$/.exec(String(text).trim().replace("−", "-"));
  if (!match || !(match[2] || match[3])) throw new RangeError(`Not a decimal number: ${text}`);
  const fraction = match[3] ?? "";
  const digits = BigInt(`${match[2]}${fraction}` || "0");
  return { digits: match[1] === "-" ? -digits : digits, places: fraction.length };
}

const power = (places) => 10n ** BigInt(places);

/** The fraction top / bottom to `places`, halves away from zero. */
function divided(top, bottom, places) {
  const wide = top * power(places);
  const size = (2n * (wide < 0n ? -wide : wide) + bottom) / (2n * bottom);
  return { digits: wide < 0n ? -size : size, places };
}

export function rounded({ digits, places }, wanted) {
  return divided(digits, power(places), wanted);
}

export function compare(a, b) {
  const difference = a.digits * power(b.places) - b.digits * power(a.places);
  return difference < 0n ? -1 : difference > 0n ? 1 : 0;
}

/** Digits without trailing zeros or a negative zero; a true minus sign. */
export function shown({ digits, places }) {
  const size = (digits < 0n ? -digits : digits).toString().padStart(places + 1, "0");
  const whole = size.slice(0, size.length - places);
  const fraction = size.slice(size.length - places).replace(/0+$/, "");
  return `${digits < 0n ? "−" : ""}${whole}${fraction ? `.${fraction}` : ""}`;
}

// NIST SP 811 (2008), B.8: t_C = (t_F − 32) / 1.8, exact.
export function toCelsius({ value, unit }) {
  const read = decimal(value);
  if (unit === "C") return rounded(read, 4);
  return divided((read.digits - 32n * power(read.places)) * 10n, 18n * power(read.places), 4);
}

function fromCelsius(celsius, unit) {
  if (unit === "C") return rounded(celsius, 2);
  const top = celsius.digits * 18n + 320n * power(celsius.places);
  return divided(top, 10n * power(celsius.places), 2);
}

export function showTemperature(celsius, unit) {
  return `${shown(rounded(fromCelsius(celsius, unit), 1))}\u00a0°${unit}`;
}
