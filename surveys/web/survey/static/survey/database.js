// IndexedDB with promises: what a promise of a transaction promises is on the disk.
import { gettext } from "./language.js";

/** What a request answers. */
export const answered = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

/** A function that runs `work(transaction)` on the database; `stores`: names to key paths. */
export function database(name, stores) {
  let opening = null;

  async function open() {
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(stores))
        request.result.createObjectStore(store, { keyPath });
    };
    const opened = await answered(request);
    opened.onversionchange = () => opened.close();
    return opened;
  }

  return async function transact(names, mode, work) {
    opening ??= open();
    const transaction = (await opening).transaction(names, mode, { durability: "strict" });
    const done = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () =>
        reject(transaction.error ?? new Error(gettext("The phone could not save it.")));
    });
    const [result] = await Promise.all([work(transaction), done]);
    return result;
  };
}
