// A recording that this browser cannot play: the player stays silent, so the page says what to do.
for (const audio of document.querySelectorAll(".recording audio")) {
  const note = audio.closest(".recording").querySelector("[data-silent]");
  audio.addEventListener("error", () => {
    note.hidden = false;
  });
  audio.addEventListener("playing", () => {
    note.hidden = true;
  });
}
