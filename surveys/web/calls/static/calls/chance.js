// Numbers by chance that follow from a seed, the same here and on the server: surveys/sound/chance.py.

const GOLDEN = 0x9e3779b9;

/** A generator of 32 bits with a golden-ratio step. What is drawn depends on the order of the calls. */
export function chanceOf(seed) {
  let state = seed >>> 0;
  const next = () => {
    state = (state + GOLDEN) >>> 0;
    let mixed = state ^ (state >>> 16);
    mixed = Math.imul(mixed, 0x21f0aaad);
    mixed ^= mixed >>> 15;
    mixed = Math.imul(mixed, 0x735a2d97);
    return ((mixed ^ (mixed >>> 15)) >>> 0) / 2 ** 32;
  };
  const take = (number) => Array.from({ length: number }, next);
  const noise = () => 2 * next() - 1;
  // The sum of twelve uniform numbers has nearly a normal distribution of spread 1.
  const normal = () => take(12).reduce((sum, one) => sum + one, -6);
  const between = (low, high) => low + (high - low) * next();
  /** A whole number from 0. */
  const whole = (below) => Math.floor(next() * below);
  const choice = (items) => items[whole(items.length)];
  /** Of the Beta distribution with parameters `right + 1` and `wrong + 1`, as an order statistic. */
  const beta = (right, wrong) => take(right + wrong + 1).sort((one, other) => one - other)[right];

  function shuffled(items) {
    const left = [...items];
    for (let last = left.length - 1; last > 0; last--) {
      const other = whole(last + 1);
      [left[last], left[other]] = [left[other], left[last]];
    }
    return left;
  }
  return { next, noise, normal, between, whole, choice, shuffled, beta };
}
