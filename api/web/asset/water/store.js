// What the phone keeps, in IndexedDB: records (the log of an angler's day, in the order in which things happened), packs
// (what a trial's angler carries to the water) and facts (who is using the phone).
//
// A record is {seq, key, account, trial, enrolment, outing, kind, id, at, body, sent, until, tried, answer}. sent says
// where it stands: waiting, held (it waits for its other half, like a fly that is gone until it is retied), sent, refused
// (the service said no; kept with its answer), undone (never sent), kept (for this phone alone).

let opening = null;

function database() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open('evenrig-water', 1);
    request.onupgradeneeded = () => {
      const records = request.result.createObjectStore('records', { keyPath: 'seq', autoIncrement: true });
      records.createIndex('key', 'key', { unique: true }); // the same record twice is one record
      records.createIndex('outing', ['account', 'outing']);
      records.createIndex('sent', ['account', 'sent']);
      records.createIndex('kind', ['account', 'kind']);
      request.result.createObjectStore('packs', { keyPath: 'key' });
      request.result.createObjectStore('facts', { keyPath: 'name' });
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error('blocked'));
  }).catch((e) => {
    opening = null;
    throw e;
  });
  return opening;
}

const answered = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

/** Runs work(transaction) and resolves with what it returned, once everything is on the phone's disk. */
async function within(stores, mode, work) {
  const db = await database();
  const tx = db.transaction(stores, mode, { durability: 'strict' });
  const done = new Promise((resolve, reject) => {
    tx.oncomplete = resolve;
    tx.onabort = () => reject(tx.error ?? new Error('aborted'));
  });
  done.catch(() => {}); // it is awaited below, unless work itself fails first
  let out;
  try {
    out = await work(tx);
  } catch (e) {
    try {
      tx.abort();
    } catch { /* it has ended by itself */ }
    throw e;
  }
  await done;
  return out;
}

/** Whether the phone keeps anything at all; a private window may not. */
export async function works() {
  try {
    await within(['facts'], 'readwrite', (tx) => answered(tx.objectStore('facts').put({ name: 'tried', value: Date.now() })));
    return true;
  } catch {
    return false;
  }
}

/** Thrown by add when another page of this phone went on with the outing meanwhile. */
export class Moved extends Error {}

async function lastOf(records, account, outing) {
  const cursor = await answered(records.index('outing').openCursor(IDBKeyRange.only([account, outing]), 'prev'));
  return cursor?.value.seq ?? 0;
}

/**
 * Adds records, and changes the packs that they change, all or nothing. day says which outing they go on from: when
 * another page has added to it since, Moved is thrown and nothing is kept. A fish is added whatever came in between.
 */
export function add(list, { day = null, packs = [] } = {}) {
  return within(['records', 'packs'], 'readwrite', async (tx) => {
    const records = tx.objectStore('records');
    if (day && await lastOf(records, day.account, day.id) !== day.last) throw new Moved();
    for (const record of list) record.seq = await answered(records.add(record));
    for (const pack of packs) await answered(tx.objectStore('packs').put(pack));
    return list;
  });
}

/** Changes a record that stands: change gets it as it stands and returns it as it is to be, or null to leave it. */
export function alter(seq, change) {
  return within(['records'], 'readwrite', async (tx) => {
    const records = tx.objectStore('records');
    const changed = change(await answered(records.get(seq)));
    if (changed) await answered(records.put(changed));
    return changed;
  });
}

const all = (index, key) => within(['records'], 'readonly', (tx) => answered(tx.objectStore('records').index(index).getAll(IDBKeyRange.only(key))));

/** The records of an outing, in order. */
export const ofOuting = (account, outing) => all('outing', [account, outing]);

/** The account's records of a kind, in order. */
export const ofKind = (account, kind) => all('kind', [account, kind]);

/** The account's records that stand as said, in order. */
export const standing = (account, sent) => all('sent', [account, sent]);

/** All of the account's records, in order. */
export const ofAccount = (account) => within(['records'], 'readonly', async (tx) => (await answered(tx.objectStore('records').getAll())).filter((r) => r.account === account));

/** The record with the key, or undefined. */
export const byKey = (key) => within(['records'], 'readonly', (tx) => answered(tx.objectStore('records').index('key').get(key)));

/** How many of the account's records stand as said. */
export const count = (account, sent) => within(['records'], 'readonly', (tx) => answered(tx.objectStore('records').index('sent').count(IDBKeyRange.only([account, sent]))));

/** The account's packs. */
export const packsOf = (account) => within(['packs'], 'readonly', async (tx) => (await answered(tx.objectStore('packs').getAll())).filter((p) => p.account === account));

/** Changes the pack with the key: change gets the one that stands, or undefined. */
export const alterPack = (key, change) => within(['packs'], 'readwrite', async (tx) => {
  const pack = change(await answered(tx.objectStore('packs').get(key)));
  await answered(tx.objectStore('packs').put(pack));
  return pack;
});

export const fact = (name) => within(['facts'], 'readonly', async (tx) => (await answered(tx.objectStore('facts').get(name)))?.value);
export const setFact = (name, value) => within(['facts'], 'readwrite', (tx) => answered(tx.objectStore('facts').put({ name, value })));

/** Throws away all of an account's records and packs. */
export function forget(account) {
  return within(['records', 'packs'], 'readwrite', async (tx) => {
    for (const name of ['records', 'packs']) {
      const kept = tx.objectStore(name);
      for (const key of await answered(kept.getAllKeys())) {
        if ((await answered(kept.get(key))).account === account) await answered(kept.delete(key));
      }
    }
  });
}

/** Takes in records of a rescue file, in their order; those that stand already are left as they are. Returns how many were new. */
export function takeIn(list, packs) {
  return within(['records', 'packs'], 'readwrite', async (tx) => {
    const records = tx.objectStore('records');
    let fresh = 0;
    for (const { seq, ...record } of list) {
      if (await answered(records.index('key').get(record.key))) continue;
      await answered(records.add(record));
      fresh++;
    }
    for (const pack of packs) {
      if (!await answered(tx.objectStore('packs').get(pack.key))) await answered(tx.objectStore('packs').put(pack));
    }
    return fresh;
  });
}
