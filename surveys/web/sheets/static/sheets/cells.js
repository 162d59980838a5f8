// The inputs of the sheet's cells. The id of an input is the address of its cell.

export function cellInputs() {
  return document.querySelectorAll("[data-cell]");
}

export function inputOf(address) {
  const input = document.getElementById(address);
  return input?.matches("[data-cell]") ? input : null;
}

/** Put a text into an input, also one that its list of options does not have. */
export function showText(input, text) {
  if (input.tagName === "SELECT" && ![...input.options].some((option) => option.value === text)) {
    input.add(new Option(text, text));
  }
  input.value = text;
}
