// Night or day on the survey screen: by dusk unless the observer says otherwise. The page comes as
// night, so that nothing bright is ever shown before this module knows the hour.
const KEY = "duskpool.survey.theme";
export const CHOICES = ["dusk", "night", "day"];

export function choice() {
  try {
    const kept = localStorage.getItem(KEY);
    return CHOICES.includes(kept) ? kept : "dusk";
  } catch {
    return "dusk";
  }
}

export function choose(name) {
  try {
    localStorage.setItem(KEY, name);
  } catch {
    // Without storage the choice holds until the page is closed.
  }
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
  const name = dark ? "night" : "day";
  if (document.documentElement.dataset.theme === name && document.documentElement.dataset.shown) return;
  document.documentElement.dataset.theme = name;
  document.documentElement.dataset.shown = "yes";
  document.getElementById("night-sheet").media = dark ? "all" : "not all";
}
