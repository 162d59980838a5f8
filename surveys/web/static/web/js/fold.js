// On a phone <details data-fold> begin closed, so that the page begins with what it is about. At a
// desk they stay open, and CSS shows no summary. Without this module they are open everywhere.
const PHONE = window.matchMedia("(max-width: 47.99rem)");

function fold() {
  for (const details of document.querySelectorAll("[data-fold]")) details.open = !PHONE.matches;
}

PHONE.addEventListener("change", fold);
fold();
