// The theme switch without a page load. The form it enhances works by itself: the server keeps the
// same cookie and renders <html data-theme>, so this module only saves a round trip.

const THEMES = {
  day: { media: "not all", bar: { light: "#22223f", dark: "#22223f" } },
  night: { media: "all", bar: { light: "#000000", dark: "#000000" } },
  auto: { media: "(prefers-color-scheme: dark)", bar: { light: "#22223f", dark: "#000000" } },
};
const YEAR = 365 * 24 * 60 * 60;

export function currentTheme() {
  return document.documentElement.dataset.theme ?? "auto";
}

export function isNight() {
  const { media } = THEMES[currentTheme()];
  return window.matchMedia(media).matches;
}

/** Show a theme ("day", "night" or "auto"), keep it for a year and tell the page with a "themechange" event. */
export function setTheme(name) {
  const theme = THEMES[name];
  if (!theme) throw new RangeError(`Unknown theme: ${name}`);
  document.documentElement.dataset.theme = name;
  document.getElementById("night-sheet")?.setAttribute("media", theme.media);
  for (const meta of document.querySelectorAll("meta[name=theme-color]")) {
    meta.content = theme.bar[meta.media.includes("dark") ? "dark" : "light"];
  }
  press("theme", name);
  keep("theme", name);
  document.dispatchEvent(new CustomEvent("themechange", { detail: { theme: name, night: isNight() } }));
}

/** The light of the night: "red", "amber" or "white". */
export function setNight(name) {
  document.documentElement.dataset.night = name;
  press("night", name);
  keep("night", name);
}

function press(choice, name) {
  for (const button of document.querySelectorAll(`[data-theme-form] button[name=${choice}]`)) {
    button.setAttribute("aria-pressed", String(button.value === name));
  }
}

function keep(choice, name) {
  const secure = window.location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `${choice}=${name}; Path=/; Max-Age=${YEAR}; SameSite=Lax${secure}`;
}

document.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-theme-form]");
  if (!form || !event.submitter) return;
  event.preventDefault();
  const { name, value } = event.submitter;
  if (name === "night") setNight(value);
  else setTheme(value);
});
