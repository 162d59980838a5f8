// Arrow keys and Enter move between the cells of the table, as in a spreadsheet.

/** Move the focus to the neighboring cell, where the key asks for it. */
export function moveByKey(event) {
  const input = event.target;
  const cell = input.closest(".sheet td");
  if (!cell || event.altKey || event.ctrlKey || event.metaKey) return;
  const step = {
    ArrowUp: [-1, 0],
    ArrowDown: [1, 0],
    ArrowLeft: [0, -1],
    ArrowRight: [0, 1],
    Enter: [event.shiftKey ? -1 : 1, 0],
  }[event.key];
  if (!step || (input.tagName === "SELECT" && event.key !== "Enter")) return;
  const [down, right] = step;
  if (right && !isCaretAtEdge(input, right)) return;
  event.preventDefault();
  const row = cell.parentElement;
  const target = row.parentElement.rows[row.sectionRowIndex + down]?.cells[cell.cellIndex + right];
  const neighbor = target?.querySelector("[data-cell]");
  neighbor?.focus();
  neighbor?.select?.();
}

function isCaretAtEdge({ selectionStart, selectionEnd, value }, right) {
  if (selectionStart === 0 && selectionEnd === value.length) return true;
  return right > 0 ? selectionStart === value.length : selectionEnd === 0;
}
