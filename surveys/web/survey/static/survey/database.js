// IndexedDB with promises: what a promise of a transaction promises is on the disk.
import { gettext } from "./language.js";

const FULL = /quota|full disk|disk is full|no space/i;

/** Whether the phone had no room for it. Browsers name it in several ways. */
export const isFull = (error) =>
  error?.name === "QuotaExceededError" || FULL.test(`${error?.name} ${error?.message}`);

/** What was entered last is not on the disk; the message says so, and what to do. */
export class NotStored extends Error {
  constructor(cause) {
    super(
      gettext(
        "This phone is full: your last entry was not saved. Delete photos, videos or apps, then enter it again.",
      ),
      { cause },
    );
  }
}

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
    done.catch(() => {});
    try {
      const result = await work(transaction);
      await done;
      return result;
    } catch (error) {
      undo(transaction);
      throw isFull(error) ? new NotStored(error) : error;
    }
  };
}

/** All or nothing: what was written before the error goes, too. */
function undo(transaction) {
  try {
    transaction.abort();
  } catch {
    // It is over already.
  }
}
