// The heads of the columns stay in view when the page is scrolled, too; the frame of the table keeps them
// in view when the table is.
const wrap = document.querySelector(".sheet-wrap");
const head = wrap?.querySelector("thead");

function settle() {
  const bar = document.querySelector(".sky");
  const top = getComputedStyle(bar).position === "sticky" ? bar.getBoundingClientRect().bottom : 0;
  const room = wrap.clientHeight - 2 * head.offsetHeight;
  const below = Math.min(Math.max(0, top - wrap.getBoundingClientRect().top), Math.max(0, room));
  head.style.transform = below ? `translateY(${below}px)` : "";
}

if (head) window.addEventListener("scroll", settle, { passive: true });
