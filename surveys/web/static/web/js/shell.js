// Menus that close, and dialogs that open. Without this module menus still open and shut by their
// summary, and a dialog opener that is a link leads to the page that does the same.

document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    if (!menu.contains(event.target)) menu.open = false;
  }
  const opener = event.target.closest("[data-dialog]");
  const dialog = opener && document.getElementById(opener.dataset.dialog);
  if (dialog instanceof HTMLDialogElement) {
    event.preventDefault();
    dialog.showModal();
  }
});

// At large text the header would hide much of the page, so it scrolls away with it.
const header = document.querySelector(".sky");
if (header) {
  const fit = () => header.classList.toggle("sky--tall", header.offsetHeight > innerHeight / 5);
  new ResizeObserver(fit).observe(header);
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const menu = document.querySelector("details.menu[open]");
  if (!menu) return;
  menu.open = false;
  menu.querySelector("summary").focus();
});
