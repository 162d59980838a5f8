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

// Says of a new password, while it is typed, whether it is long and varied. Whether it is a common one
// is known to the server alone, which says so when the form is sent.
const FEWEST = 5;
const FIRST_GOOD = 16;

function strengthOf(password, fewest) {
  const told = password.toLowerCase();
  if (password.length < fewest) return "short";
  if (new Set(told).size < FEWEST || /^(.+?)\1+$/su.test(told)) return "same";
  return password.length < FIRST_GOOD ? "fair" : "long";
}

for (const told of document.querySelectorAll("[data-strength-of]")) {
  const field = document.getElementById(told.dataset.strengthOf);
  const [bar, words] = told.children;
  field.addEventListener("input", () => {
    const strength = strengthOf(field.value, field.minLength);
    const text = field.value && told.dataset[strength];
    bar.hidden = !text;
    bar.value = strength === "same" ? 1 : field.value.length;
    // Set when it changes only, so that who listens to the screen hears it once.
    if (words.textContent !== text) words.textContent = text;
  });
}
