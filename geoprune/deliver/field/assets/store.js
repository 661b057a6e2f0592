// Where entries are kept on the phone. An entry is told as saved only after the database said that it is on the disk
// ("strict" durability); local storage holds a second copy and, where the database is refused, the only one. That one
// reaches the disk when the browser finds time, so it is told as kept, not as saved.
const DATABASE = "geoprune-field";
const PATIENCE_MS = 4000;
// More than the database's log holds before a new one is begun (4 MB in LevelDB as Chromium sets it), in pieces that are
// not put aside as files of their own (those are above 64 KB).
const BALLAST_PIECES = 120;
const BALLAST_BYTES = 50000;

function openStore(book) {
  const prefix = `${DATABASE}\n${book}\n`;
  let opening = null;

  const database = () => {
    opening = opening || openDatabase().catch((error) => {
      opening = null;
      throw error;
    });
    return opening;
  };

  // Runs one step in a transaction of its own and gives its result once the transaction is complete.
  async function transact(name, mode, durability, step) {
    const open = await database();
    return new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error("the database does not answer")), PATIENCE_MS);
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

  function copies() {
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(prefix));
      return keys.map((key) => JSON.parse(key.slice(prefix.length)));
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
    // Everything that either place holds, and of it what only local storage has; `whole` where the database answered.
    async load() {
      const range = () => IDBKeyRange.bound(prefix, `${prefix}\uffff`);
      const kept = await orNothing(() => transact("entries", "readonly", "default", (store) => store.getAll(range())), null);
      const sure = (kept || []).map(({ entry }) => entry);
      const known = new Set(sure.map(canonical));
      const loose = copies().map(readEntry).filter((entry) => entry && !known.has(canonical(entry)));
      return { entries: mergeEntries(sure, loose), loose, whole: kept !== null };
    },

    // Makes the database begin a new log. A browser that is killed while it writes leaves half a record at the end of its
    // log, goes on writing behind it when it starts again, and at the start after that takes the whole log for broken and
    // throws all of it away. So whatever the last start left is brought into tables before anything is told as saved.
    async renewLog() {
      const piece = new Uint8Array(BALLAST_BYTES);
      const fill = (text) => (store) => {
        let request;
        for (let i = 0; i < BALLAST_PIECES; i += 1) request = store.put({ book: `ballast ${i}`, text });
        return request;
      };
      const write = (text) => transact("drafts", "readwrite", "strict", fill(text));
      return orNothing(async () => Boolean(await write(piece)) && Boolean(await write("")), false);
    },

    // "saved", "kept" or "lost". The key is the whole entry, so that nothing is ever written over.
    async save(entry) {
      const key = prefix + canonical(entry);
      const copied = copy(key, "1");
      const put = () => transact("entries", "readwrite", "strict", (store) => store.put({ key, entry }));
      const saved = await orNothing(async () => (await put()) === key, false);
      return saved ? "saved" : copied ? "kept" : "lost";
    },

    // What is being typed: kept at every touch, without waiting. Gives something false where it cannot be kept.
    keepDraft(draft) {
      const text = JSON.stringify(draft);
      const copied = copy(`${DATABASE}-draft\n${book}`, text);
      return orNothing(() => transact("drafts", "readwrite", "relaxed", (store) => store.put({ book, text })), copied && book);
    },

    async loadDraft() {
      const kept = await orNothing(() => transact("drafts", "readonly", "default", (store) => store.get(book)), null);
      const texts = [kept && kept.text, orNull(() => localStorage.getItem(`${DATABASE}-draft\n${book}`))];
      const drafts = texts.filter(Boolean).map((text) => orNull(() => JSON.parse(text))).filter(Boolean);
      return drafts.sort((a, b) => (b.touch || 0) - (a.touch || 0))[0] || null;
    },
  };
}

function openDatabase() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(DATABASE, 1);
    setTimeout(() => reject(new Error("the database does not answer")), PATIENCE_MS);
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
