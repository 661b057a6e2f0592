// The log of entries. It only grows: undoing and correcting are entries too. Logs join as sets do, in any order.
// `geoprune/deliver/field/log.py` does the same in Python, and a test holds the two together.
const FORMAT = "geoprune-field";
const VERSION = 1;
const TEXTS = ["unit", "note", "worker", "left_out"];
const WHOLE = ["canes", "bull_canes", "buds_cut", "primary_dead", "secondary_dead", "buds_left"];
const NUMBERS = ["weight", "hours", "lon", "lat", ...WHOLE];
const LB = 0.45359237;
const KG_PER = { kg: 1, g: 0.001, lb: LB, oz: LB / 16 };

// All of an entry as one text, its keys in order: two entries are the same where this is.
function canonical(value) {
  if (value === null || typeof value !== "object") return JSON.stringify(value);
  return `{${Object.keys(value).sort().map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(",")}}`;
}

const before = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

function mergeEntries(...logs) {
  const found = new Map();
  for (const entry of logs.flat()) found.set(canonical(entry), entry);
  const pairs = [...found].sort(([keyA, a], [keyB, b]) => a.seq - b.seq || before(a.id, b.id) || before(keyA, keyB));
  return pairs.map(([, entry]) => entry);
}

// Entries that hold: with values, and undone by none that holds itself. From the newest back, because whether an entry
// holds is known before anything older that it may undo.
function liveEntries(entries) {
  const undone = new Set();
  const live = [];
  for (const entry of [...mergeEntries(entries)].reverse()) {
    if (undone.has(entry.id)) continue;
    if (entry.undoes) undone.add(entry.undoes);
    if (Object.keys(entry.values).length) live.push(entry);
  }
  return live.reverse();
}

// One more than any number seen: what undoes comes after what it undoes, whatever the phones' clocks say.
const nextSeq = (entries) => 1 + entries.reduce((most, entry) => Math.max(most, entry.seq), 0);

function randomName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(12)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The phone's own time with its offset, so that the day is the day people had.
function localTime(now = new Date()) {
  const minutes = -now.getTimezoneOffset();
  const shifted = new Date(now.getTime() + 60000 * minutes).toISOString().slice(0, 19);
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return `${shifted}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

// An entry of another phone's file as we keep it; null where it is none.
function readEntry(given) {
  if (!given || typeof given !== "object") return null;
  const text = (name) => typeof given[name] === "string" && given[name].length < 500;
  if (!["id", "device", "at", "by", "job", "row"].every(text)) return null;
  if (!Number.isSafeInteger(given.seq) || !(given.vine === null || Number.isSafeInteger(given.vine))) return null;
  if (!["weigh", "buds", "prune", "check"].includes(given.job)) return null;
  const values = readValues(given.values);
  if (values === null || typeof (given.undoes ?? "") !== "string") return null;
  const { id, seq, device, at, by, job, row, vine, undoes = "" } = given;
  return { id, seq, device, at, by, job, row, vine, values, undoes };
}

function readValues(given) {
  if (!given || typeof given !== "object" || Array.isArray(given)) return null;
  const right = ([name, value]) => {
    if (WHOLE.includes(name)) return Number.isSafeInteger(value) && value >= 0;
    if (NUMBERS.includes(name)) return Number.isFinite(value);
    if (TEXTS.includes(name)) return typeof value === "string" && value.length < 5000;
    return name === "done" && typeof value === "boolean";
  };
  const pairs = Object.entries(given);
  if (!pairs.every(right) || ("weight" in given && !(given.unit in KG_PER))) return null;
  return Object.fromEntries(pairs);
}
