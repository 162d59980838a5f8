// What was typed of a condition, in words: short on its tile, in full when spoken.

export function shortWords(typed, field) {
  if (!typed) return "–";
  if (field.kind === "temperature") return `${typed}°`;
  if (field.kind === "text") return typed.length > 8 ? `${typed.slice(0, 7)}…` : typed;
  const option = field.options?.().find(([code]) => code === typed);
  return option && option.length === 2 ? option[1] : typed;
}

export function fullWords(typed, field) {
  if (field.kind === "temperature") return `${typed} degrees`;
  const option = field.options?.().find(([code]) => code === typed);
  return option ? option.slice(1).join(", ") : typed;
}
