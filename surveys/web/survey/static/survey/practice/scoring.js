// What an answer in practice is worth: the twin of surveys/sound/scoring.py and of `tallied` beside it.

/** A row for each species that called or was named, by code. `named`: code to index, null if not asked. */
export function compare(voices, named) {
  const there = Object.fromEntries(voices.map(({ species, index }) => [species, index]));
  const codes = [...new Set([...Object.keys(there), ...Object.keys(named)])].sort();
  return codes.map((species) => ({
    species,
    was_there: species in there,
    was_named: species in named,
    index_there: there[species] ?? null,
    index_named: named[species] ?? null,
  }));
}

/** Named and there; with the right index, where it was asked and is known. */
export function isRight({ was_there, was_named, index_there, index_named }) {
  if (!(was_there && was_named)) return false;
  return index_there === null || index_named === null || index_there === index_named;
}

/** `tallies` with the rows of more answers; what came in stays as it was. */
export function tallied(tallies, answers) {
  const found = structuredClone(tallies);
  for (const rows of answers) {
    const wrongly = rows.filter(({ was_there }) => !was_there);
    for (const row of rows) {
      found[row.species] ??= { right: 0, wrong: 0, named_instead: {} };
      const tally = found[row.species];
      tally[isRight(row) ? "right" : "wrong"] += 1;
      if (row.was_named) continue;
      for (const { species } of wrongly)
        tally.named_instead[species] = (tally.named_instead[species] ?? 0) + 1;
    }
  }
  return found;
}
