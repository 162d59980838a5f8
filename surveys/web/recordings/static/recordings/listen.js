// A recording looked at closely: where it plays is shown in its picture, and a part of it, typed or
// dragged as a box across the picture, is played again and again, or measured.
const TOP_HZ = 8000;
const CLICK_PX = 4;
// A part shorter or narrower than this was meant as a click.
const SHORTEST_S = 0.1;

const image = document.querySelector(".sound__image");
if (image) {
  const page = image.closest("[data-listen]");
  const look = {
    audio: page.querySelector("audio"),
    form: page.querySelector("form"),
    image,
    seconds: Number(image.dataset.seconds),
  };
  page.querySelector("[data-playing]").hidden = false;
  showCursor(look);
  playParts(look);
  chooseParts(look);
  keepPart(look);
  showBox(look, typedPart(look.form));
}

function typedPart(form) {
  const number = (name) => Number.parseFloat(form.elements[name].value);
  return {
    begin: number("begin_s"),
    end: number("end_s"),
    low: number("low_hz"),
    high: number("high_hz"),
  };
}

function typePart(form, part) {
  form.elements.begin_s.value = part.begin.toFixed(1);
  form.elements.end_s.value = part.end.toFixed(1);
  form.elements.low_hz.value = part.low.toFixed(0);
  form.elements.high_hz.value = part.high.toFixed(0);
}

/** A reference call begins with the part that is chosen. */
function keepPart({ form }) {
  const link = document.querySelector("[data-keep]");
  link?.addEventListener("click", () => {
    const { begin_s: begin, end_s: end } = form.elements;
    link.search = new URLSearchParams({ begin_s: begin.value, end_s: end.value });
  });
}

function showCursor({ audio, image, seconds }) {
  const cursor = image.querySelector(".sound__cursor");
  const place = () => {
    cursor.style.insetInlineStart = `${Math.min((100 * audio.currentTime) / seconds, 100)}%`;
    if (!audio.paused) requestAnimationFrame(place);
  };
  audio.addEventListener("playing", place);
  audio.addEventListener("seeked", place);
  place();
}

function playParts({ audio, form }) {
  const repeat = document.getElementById("repeat");
  const speed = document.getElementById("speed");
  const atSpeed = () => {
    audio.preservesPitch = true;
    audio.playbackRate = Number(speed.value);
  };
  speed.addEventListener("change", atSpeed);
  // Loading a file sets the speed back.
  audio.addEventListener("loadedmetadata", atSpeed);
  let part = null;
  const atEnd = () => {
    if (repeat.checked) audio.currentTime = part.begin;
    else {
      audio.pause();
      part = null;
    }
  };
  let next = 0;
  const watch = () => {
    cancelAnimationFrame(next);
    if (!part || audio.paused) return;
    if (audio.currentTime >= part.end) atEnd();
    next = requestAnimationFrame(watch);
  };
  audio.addEventListener("playing", watch);
  audio.addEventListener("ended", () => {
    if (!part || !repeat.checked) return;
    audio.currentTime = part.begin;
    audio.play();
  });
  document.getElementById("play-part").addEventListener("click", () => {
    const typed = typedPart(form);
    if (!(typed.end > typed.begin)) return;
    part = typed;
    audio.currentTime = part.begin;
    audio.play();
  });
}

function chooseParts({ audio, form, image, seconds }) {
  let from = null;
  const at = (event) => {
    const frame = image.getBoundingClientRect();
    const share = (value, size) => Math.min(Math.max(value / size, 0), 1);
    return {
      x: event.clientX,
      y: event.clientY,
      second: seconds * share(event.clientX - frame.left, frame.width),
      pitch: TOP_HZ * (1 - share(event.clientY - frame.top, frame.height)),
    };
  };
  image.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    image.setPointerCapture(event.pointerId);
    from = at(event);
  });
  image.addEventListener("pointermove", (event) => {
    if (from) showBox({ image, seconds }, between(from, at(event), form));
  });
  image.addEventListener("pointercancel", () => {
    from = null;
    showBox({ image, seconds }, typedPart(form));
  });
  image.addEventListener("pointerup", (event) => {
    if (!from) return;
    const to = at(event);
    const part = between(from, to, form);
    const clicked = Math.hypot(to.x - from.x, to.y - from.y) < CLICK_PX;
    from = null;
    if (clicked || part.end - part.begin < SHORTEST_S) {
      audio.currentTime = to.second;
      showBox({ image, seconds }, typedPart(form));
      return;
    }
    typePart(form, part);
    form.requestSubmit();
  });
  form.addEventListener("input", () => showBox({ image, seconds }, typedPart(form)));
}

// The box between two places, within the pitches that can be measured.
function between(one, other, form) {
  const { min, max } = form.elements.low_hz;
  const inside = (pitch) => Math.min(Math.max(pitch, Number(min)), Number(max));
  return {
    begin: Math.min(one.second, other.second),
    end: Math.max(one.second, other.second),
    low: inside(Math.min(one.pitch, other.pitch)),
    high: inside(Math.max(one.pitch, other.pitch)),
  };
}

function showBox({ image, seconds }, part) {
  const box = image.querySelector(".sound__box");
  box.hidden = !(part.end > part.begin && part.high > part.low);
  box.style.insetInlineStart = `${(100 * part.begin) / seconds}%`;
  box.style.inlineSize = `${(100 * (part.end - part.begin)) / seconds}%`;
  box.style.insetBlockEnd = `${(100 * part.low) / TOP_HZ}%`;
  box.style.blockSize = `${(100 * (part.high - part.low)) / TOP_HZ}%`;
}
