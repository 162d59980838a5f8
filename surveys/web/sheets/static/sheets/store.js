// Changes that the server does not have yet, kept in this browser: cell address to { was, now }.

/** A Map with `save()`, which says whether the browser kept it. */
export class PendingChanges extends Map {
  #key;

  constructor(visit) {
    const key = `duskpool.sheet.${visit}`;
    super(stored(key));
    this.#key = key;
  }

  /** What was typed at a stop that is being cleared must not come back. */
  forgetStop(number) {
    for (const address of [...this.keys()]) if (address.startsWith(`stops.${number}.`)) this.delete(address);
    this.save();
  }

  save() {
    try {
      if (this.size) localStorage.setItem(this.#key, JSON.stringify(Object.fromEntries(this)));
      else localStorage.removeItem(this.#key);
      return true;
    } catch {
      return false;
    }
  }
}

function stored(key) {
  try {
    return Object.entries(JSON.parse(localStorage.getItem(key) ?? "{}"));
  } catch {
    return [];
  }
}
