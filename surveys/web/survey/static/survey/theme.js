// Night or day on the survey screen. The theme that was chosen for the whole site rules, wherever the
// switch was pressed; left to itself ("auto"), the survey turns with the sun. The page comes as night,
// so that nothing bright is ever shown before this module knows the hour.
// The bar's color (--sky-1), for what the browser draws around the page.
const AROUND = { night: "#000000", day: "#22223f" };
const YEAR_S = 365 * 24 * 60 * 60;
export const CHOICES = ["auto", "night", "day"];
export const LIGHTS = ["red", "amber", "white"];

/** The cookie of the site's theme; the server and web/js/theme.js write the same. */
export function choice() {
  const kept = /(?:^|;\s*)theme=(\w+)/.exec(document.cookie)?.[1];
  return CHOICES.includes(kept) ? kept : "auto";
}

export const choose = (name) => keep("theme", name);

function keep(cookie, name) {
  const secure = window.location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `${cookie}=${name}; Path=/; Max-Age=${YEAR_S}; SameSite=Lax${secure}`;
}

/** The light of the night; the server and web/js/theme.js keep the same cookie. */
export function light() {
  const kept = /(?:^|;\s*)night=(\w+)/.exec(document.cookie)?.[1];
  return LIGHTS.includes(kept) ? kept : LIGHTS[0];
}

export function chooseLight(name) {
  keep("night", name);
  document.documentElement.dataset.night = name;
}

/** Whether it is night at `now`: between the sunset and the sunrise of a packet's nights; where
    none is known, from six in the evening to six in the morning. */
export function isDark(nights, now) {
  const skies = Object.values(nights ?? {}).map((night) => Object.values(night.stops)[0]?.sky);
  const known = skies.filter((sky) => sky?.sunset && sky.sunrise);
  const spans = known.map((sky) => [Date.parse(sky.sunset), Date.parse(sky.sunrise)]);
  if (spans.length && now >= spans[0][0] - 86_400_000 && now <= spans.at(-1)[1] + 86_400_000) {
    return spans.some(([sunset, sunrise]) => sunset <= now && now < sunrise);
  }
  const hour = new Date(now).getHours();
  return hour >= 18 || hour < 6;
}

export function show(dark) {
  document.documentElement.dataset.night ??= light();
  const name = dark ? "night" : "day";
  if (document.documentElement.dataset.theme === name && document.documentElement.dataset.shown) return;
  document.documentElement.dataset.theme = name;
  document.documentElement.dataset.shown = "yes";
  document.querySelector('meta[name="theme-color"]').content = AROUND[name];
  document.getElementById("night-sheet").media = dark ? "all" : "not all";
}
