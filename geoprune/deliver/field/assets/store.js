// Where entries are kept on the phone. An entry is told as saved only after a database said that it is on the disk
// ("strict" durability). There are two of them with a log each, the second in a storage bucket where the browser has
// such, and local storage holds one more copy. That one reaches the disk when the browser finds time, so that an entry
// which it alone holds is told as kept, not as saved.
const DATABASE = "geoprune-field";
const PATIENCE_MS = 4000;
const SILENCE = "the database does not answer";
// More than the database's log holds before a new one is begun (4 MB in LevelDB as Chromium sets it), in pieces that are
// not put aside as files of their own (those are above 64 KB).
const BALLAST_PIECES = 120;
const BALLAST_BYTES = 50000;

function openStore(book) {
  const prefix = `${DATABASE}\n${book}\n`;
  const first = openShelf(prefix, async () => indexedDB);
  const second = openShelf(prefix, async () => (await navigator.storageBuckets.open(DATABASE, { durability: "strict", persisted: true })).indexedDB);

  function copies() {
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(prefix));
      return keys.map((key) => readEntry(JSON.parse(key.slice(prefix.length)))).filter(Boolean);
    } catch {
      return [];
    }
  }

  function copy(key, value) {
    try {
      localStorage.setItem(key, value);
      return localStorage.getItem(key) === value;
    } catch {
      return false;
    }
  }

  return {
    // Everything that any place holds, and of it what one place alone does; `whole` where the first database answered.
    async load() {
      const places = [await first.all(), await second.all(), copies()];
      const entries = mergeEntries(...places.map((held) => held || []));
      const had = places.map((held) => new Set((held || []).map(canonical)));
      const alone = entries.filter((entry) => had.filter((keys) => keys.has(canonical(entry))).length < 2);
      return { entries, alone, whole: places[0] !== null };
    },

    // At the start, before anything is told as saved: every place gets what it lacks, and each database begins a new log.
    // One after the other: the second is not written to before the first is done, so that at whatever moment, and however
    // often, the browser is killed, one of them is whole. Gives the state of each entry.
    async settle(entries) {
      const inFirst = await first.settle(entries);
      const inSecond = await second.settle(entries);
      return entries.map((entry) => {
        const key = canonical(entry);
        return stateOf([inFirst.has(key), inSecond.has(key)], copy(prefix + key, "1"));
      });
    },

    // The key is the whole entry, so that nothing is ever written over.
    async save(entry) {
      const copied = copy(prefix + canonical(entry), "1");
      return stateOf(await Promise.all([first.put(entry), second.put(entry)]), copied);
    },

    // What is being typed: kept at every touch, without waiting. Gives something false where it cannot be kept.
    keepDraft(draft) {
      const text = JSON.stringify(draft);
      const copied = copy(`${DATABASE}-draft\n${book}`, text);
      return orNothing(() => first.transact("drafts", "readwrite", "relaxed", (store) => store.put({ book, text })), copied && book);
    },

    async loadDraft() {
      const kept = await orNothing(() => first.transact("drafts", "readonly", "default", (store) => store.get(book)), null);
      const texts = [kept && kept.text, orNull(() => localStorage.getItem(`${DATABASE}-draft\n${book}`))];
      const drafts = texts.filter(Boolean).map((text) => orNull(() => JSON.parse(text))).filter(Boolean);
      return drafts.sort((a, b) => (b.touch || 0) - (a.touch || 0))[0] || null;
    },
  };
}

// "saved", "single" (on the disk, but in one place alone), "kept" (in local storage alone) or "lost".
function stateOf(onDisk, copied) {
  if (onDisk.some(Boolean)) return onDisk.every(Boolean) || copied ? "saved" : "single";
  return copied ? "kept" : "lost";
}

// One database. Where it does not answer in time, it is not waited for again before it has answered.
function openShelf(prefix, factory) {
  let opening = null;
  let silent = false;

  const database = () => {
    opening = opening || factory().then(openDatabase).catch((error) => {
      opening = null;
      throw error;
    });
    return opening;
  };

  // Runs one step in a transaction of its own and gives its result once the transaction is complete.
  async function transact(name, mode, durability, step) {
    const open = await database();
    return new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error(SILENCE)), PATIENCE_MS);
      const failed = (error) => {
        if (error && error.name === "InvalidStateError") opening = null;
        reject(error);
      };
      try {
        const transaction = open.transaction(name, mode, { durability });
        const request = step(transaction.objectStore(name));
        transaction.oncomplete = () => resolve(request.result);
        transaction.onabort = () => failed(transaction.error);
      } catch (error) {
        opening = null;
        failed(error);
      }
    });
  }

  async function all() {
    const range = IDBKeyRange.bound(prefix, `${prefix}\uffff`);
    const kept = await orNothing(() => transact("entries", "readonly", "default", (store) => store.getAll(range)), null);
    return kept && kept.map(({ entry }) => entry);
  }

  // Whether all these entries are on the disk now.
  async function write(entries) {
    const put = (store) => entries.map((entry) => store.put({ key: prefix + canonical(entry), entry })).pop();
    try {
      const last = await transact("entries", "readwrite", "strict", put);
      silent = false;
      return last === prefix + canonical(entries[entries.length - 1]);
    } catch (error) {
      silent = Boolean(error) && error.message === SILENCE;
      return false;
    }
  }

  // Makes the database begin a new log. A browser that is killed while it writes leaves half a record at the end of its
  // log, goes on writing behind it when it starts again, and at the start after that takes the whole log for broken and
  // throws all of it away. So whatever the last start left is brought into tables before anything is told as saved.
  async function renewLog() {
    const piece = new Uint8Array(BALLAST_BYTES);
    const fill = (text) => (store) => {
      let request;
      for (let i = 0; i < BALLAST_PIECES; i += 1) request = store.put({ book: `ballast ${i}`, text });
      return request;
    };
    const ballast = (text) => transact("drafts", "readwrite", "strict", fill(text));
    return orNothing(async () => Boolean(await ballast(piece)) && Boolean(await ballast("")), false);
  }

  return {
    transact,
    all,

    // Writes what is not there yet, begins a new log, and gives the keys of what is there then.
    async settle(entries) {
      const had = new Set(((await all()) || []).map(canonical));
      const missing = entries.filter((entry) => !had.has(canonical(entry)));
      if (missing.length && (await write(missing))) for (const entry of missing) had.add(canonical(entry));
      await renewLog();
      return had;
    },

    // Whether the entry is on the disk here.
    async put(entry) {
      const written = write([entry]);
      return silent ? false : written;
    },
  };
}

function openDatabase(factory) {
  return new Promise((resolve, reject) => {
    const request = factory.open(DATABASE, 1);
    setTimeout(() => reject(new Error(SILENCE)), PATIENCE_MS);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("entries", { keyPath: "key" });
      request.result.createObjectStore("drafts", { keyPath: "book" });
    };
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
  });
}

async function orNothing(attempt, nothing) {
  try {
    return await attempt();
  } catch {
    return nothing;
  }
}

function orNull(attempt) {
  try {
    return attempt();
  } catch {
    return null;
  }
}
