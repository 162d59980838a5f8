// Shows what was typed into a field for a password while its box is checked. Without this module the
// boxes stay hidden. A form that is sent holds passwords, so that no browser suggests them elsewhere.
for (const box of document.querySelectorAll("[data-shows]")) {
  const field = document.getElementById(box.dataset.shows);
  const show = () => {
    field.type = box.checked ? "text" : "password";
  };
  box.closest("label").hidden = false;
  box.addEventListener("change", show);
  field.form?.addEventListener("submit", () => {
    box.checked = false;
    show();
  });
}
