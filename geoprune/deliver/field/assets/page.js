// The page: its state, what a touch does, and what is said about saving.
let block;
let store;
let entries = [];
let draft;
let latest = null; // the latest thing done: { state, entry, text }
let lived = { of: -1, entries: [] };
const unsaved = new Map(); // entries that nothing but this page holds
const loose = new Map(); // entries that one place alone holds, and whether that is on the disk
let refused = false; // whether nothing could be kept at the start
let whole = false; // whether the database has told what it holds

const live = () => {
  if (lived.of !== entries.length) lived = { of: entries.length, entries: liveEntries(entries) };
  return lived.entries;
};
const fresh = () => entries.length - draft.exported;

function formOf(job) {
  draft.forms[job] = draft.forms[job] || emptyForm(job, nextVine(job));
  return draft.forms[job];
}

// Every touch changes the draft and keeps it.
function touch(change, draw = true) {
  change();
  draft.touch += 1;
  store.keepDraft(draft);
  if (draw) show();
}

function go(screen) {
  touch(() => {
    if (screen === "list") draft.listed = draft.screen;
    draft.screen = screen;
    draft.taken = "";
    if (latest && latest.state !== "saving" && latest.state !== "lost") latest = null;
  });
  window.scrollTo(0, 0);
}

function press(job, key) {
  const form = formOf(job);
  const { digits } = FIELDS[form.field];
  const old = form.field === "vine" ? form.vine : form.values[form.field] || "";
  let text = key === "←" ? old.slice(0, -1) : old + key;
  if (key === "." && old.includes(".")) text = old;
  if (key === "." && !old) text = "0.";
  if (/^0\d/.test(text)) text = text.replace(/^0+(?=\d)/, "");
  if (text.length > digits) text = old;
  touch(() => {
    if (form.field === "vine") form.vine = text;
    else form.values[form.field] = text;
    form.problem = "";
  });
}

function saveForm(job, sure = false) {
  const form = formOf(job);
  const problem = cannot(job, form);
  if (problem) return touch(() => { Object.assign(form, { field: problem[0], problem: problem[1], ask: null }); });
  const question = sure ? null : doubt(job, form);
  if (question) return touch(() => { form.ask = question; });
  const at = { row: form.row, vine: Number(form.vine) };
  record({ id: form.id, job, ...at, values: valuesOf(job, form), undoes: form.corrects });
  return touch(() => { draft.forms[job] = nextForm(job, form); });
}

function leaveOut(job, form, reason) {
  record({ id: form.id, job, row: form.row, vine: Number(form.vine), values: { left_out: reason } });
  touch(() => { draft.forms[job] = nextForm(job, form); });
}

function openVine(job, row, vine, main) {
  touch(() => {
    draft.forms[job] = row === null ? emptyForm(job, null) : formAt(job, row, vine, main);
    draft.screen = job;
  });
}

// Undoing is an entry that names the one it undoes; undoing that one puts it back. What was taken back stands in the form.
function undo(entry) {
  if (!entry) return;
  record({ job: entry.job, row: entry.row, vine: entry.vine, values: {}, undoes: entry.id }, entry);
  touch(() => {
    if (!JOBS[entry.job] || entry.device !== draft.device) return;
    const stop = walkOf(entry.job).find(({ links }) => links.some(({ row, vine }) => row === entry.row && vine === entry.vine));
    const form = emptyForm(entry.job, { row: entry.row, vine: entry.vine, main: stop ? stop.main : null });
    draft.forms[entry.job] = fillForm(form, entry.values);
  });
}

function putBack(undoing, entry) {
  record({ job: entry.job, row: entry.row, vine: entry.vine, values: {}, undoes: undoing.id }, entry, true);
  touch(() => { delete draft.forms[entry.job]; });
}

// Makes an entry and keeps it. It is told as saved when the store says so, and not before.
function record(fields, about = null, back = false) {
  const made = { id: randomName(), seq: nextSeq(entries), device: draft.device, at: localTime(), by: draft.by.trim(), undoes: "", ...fields };
  entries.push(made);
  unsaved.set(made.id, made);
  latest = { state: "saving", made, about: about || made, taken: Boolean(about) && !back };
  keepAll();
}

// Tries again, until it is saved, whatever is not.
const keepAll = () => [...unsaved.values(), ...[...loose.values()].map(({ entry }) => entry)].forEach(keep);

async function keep(entry) {
  note(entry, await store.save(entry));
  showStatus();
}

function note(entry, state) {
  if (state === "lost") unsaved.set(entry.id, entry);
  else unsaved.delete(entry.id);
  if (state === "kept" || state === "single") loose.set(entry.id, { entry, sure: state === "single" });
  else loose.delete(entry.id);
  if (state === "saved" || state === "single") refused = false;
  if (latest && latest.made === entry) latest.state = state === "single" ? "saved" : state;
}

function statusLine() {
  return make("div", { id: "status" });
}

function showStatus() {
  const line = document.getElementById("status");
  if (line) {
    line.replaceChildren(...statusParts());
    line.dataset.state = latest ? latest.state : "";
    line.dataset.entry = latest && latest.state === "saved" ? latest.made.id : "";
  }
  const banner = document.getElementById("banner");
  const words = bannerWords();
  banner.hidden = !words;
  if (banner.dataset.words === words) return;
  banner.dataset.words = words;
  banner.className = unsaved.size || refused || !whole ? "lost" : "kept";
  banner.replaceChildren(make("span", { text: words }), button("banner-export", say("export_now"), exportList));
}

function bannerWords() {
  if (unsaved.size && !(latest && latest.state === "saving")) return say("not_saved", { entries: unsaved.size });
  if (refused) return say("refused");
  if (!whole) return say("not_whole");
  if ([...loose.values()].some(({ sure }) => !sure)) return say("only_kept");
  return loose.size ? say("only_one_place", { entries: loose.size }) : "";
}

function statusParts() {
  if (!latest) return [];
  const text = shownEntry(latest.about);
  const words = { saving: "saving", saved: latest.taken ? "taken_back" : "saved", kept: latest.taken ? "taken_back" : "kept", lost: "lost" }[latest.state];
  const parts = [make("span", { role: "status", text: say(words, { what: text }) })];
  if (latest.taken && latest.state !== "saving") parts.push(button("put-back", say("put_back"), () => putBack(latest.made, latest.about), { class: "small" }));
  return parts;
}

function screenNow() {
  const { screen } = draft;
  if (screen === "export") return exportScreen();
  if (screen === "prune") return pruneScreen();
  if (screen === "list") return draft.listed === "prune" ? rowsScreen() : listScreen(draft.listed);
  return VINE_JOBS.includes(screen) ? vineScreen(screen) : homeScreen();
}

function show() {
  const page = document.getElementById("page");
  const focused = document.activeElement && document.activeElement.dataset.key;
  const scrolled = page.querySelector(".scroll") ? page.querySelector(".scroll").scrollTop : 0;
  page.dataset.screen = draft.screen;
  page.replaceChildren(...screenNow().filter(Boolean));
  const again = focused && page.querySelector(`[data-key="${CSS.escape(focused)}"]`);
  if (again) again.focus({ preventScroll: true });
  const area = page.querySelector(".scroll");
  const shown = `${draft.screen} ${draft.screen === "prune" ? draft.card.row : ""}`;
  if (area && page.dataset.shown === shown) area.scrollTop = scrolled;
  page.dataset.shown = shown;
  showStatus();
}

function download(text, name, type) {
  const href = URL.createObjectURL(new Blob([text], { type }));
  const link = make("a", { href, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(href), 60000);
}

function exportTable(job) {
  download(tableText(job, entries, block, draft.unit), fileName(block, FILE_WORDS[job], "csv"), "text/csv");
}

const FILE_WORDS = { weigh: "weights", buds: "bud_checks", prune: "ticks", check: "counts" };

function exportList() {
  download(listText(entries, block), fileName(block, "field", "json"), "application/json");
  touch(() => { draft.exported = entries.length; });
}

// Another phone's list joins ours; what both have at one vine is told, and both stay.
async function takeIn(files) {
  const said = [];
  for (const file of files) said.push(takeInText(file.name, await orNothing(() => file.text(), "")));
  touch(() => { draft.taken = said.join(" "); });
}

function takeInText(name, text) {
  const list = orNull(() => JSON.parse(text));
  if (!list || list.format !== FORMAT || list.version !== VERSION || !Array.isArray(list.entries)) return say("no_list", { name });
  if (list.block !== block.name || list.season !== block.season || list.estate !== block.estate) {
    return say("other_block", { name, block: String(list.block), season: String(list.season) });
  }
  const read = list.entries.map(readEntry);
  const have = new Set(entries.map(canonical));
  const added = read.filter((entry) => entry && !have.has(canonical(entry)));
  entries = mergeEntries(entries, added);
  lived.of = -1;
  for (const entry of added) unsaved.set(entry.id, entry);
  added.forEach(keep);
  const parts = [say("taken_in", { name, entries: added.length })];
  if (read.includes(null)) parts.push(say("not_read", { entries: read.filter((entry) => !entry).length }));
  const twice = twiceMeasured();
  if (twice.length) parts.push(say("stand_twice", { vines: twice.join("; ") }));
  return parts.join(" ");
}

function twiceMeasured() {
  const places = new Map();
  for (const job of VINE_JOBS) {
    for (const { row, vine } of tableEntries(job, entries)) {
      const place = say("place", { row, vine });
      places.set(`${job}${place}`, [...(places.get(`${job}${place}`) || []), place]);
    }
  }
  return [...places.values()].filter((found) => found.length > 1).map(([place]) => place);
}

function setLanguage(code) {
  speech.language = code;
  draft.language = code;
  document.documentElement.lang = code;
  document.title = `${block.name} · ${say("title")}`;
}

// A key of a keyboard does what the pad's key does.
function typed(event) {
  const job = draft.screen;
  const busy = ["INPUT", "TEXTAREA", "SELECT", "BUTTON"].includes(event.target.tagName);
  if (!VINE_JOBS.includes(job) || event.ctrlKey || event.metaKey || event.altKey) return;
  const form = formOf(job);
  const padded = !form.ask && !form.leaving && !FIELDS[form.field].text && !FIELDS[form.field].who;
  if (!padded || (busy && event.target.tagName !== "BUTTON")) return;
  const key = event.key === "Backspace" ? "←" : event.key === "," ? "." : event.key;
  if (/^[0-9←]$/.test(key) || (key === "." && FIELDS[form.field].decimal)) {
    event.preventDefault();
    press(job, key);
  } else if (event.key === "Enter" && !busy) saveForm(job);
}

async function loadAll() {
  const found = await store.load();
  for (const entry of found.alone) if (!unsaved.has(entry.id)) loose.set(entry.id, { entry, sure: true });
  whole = whole || found.whole;
  return found.entries;
}

async function refresh() {
  const before = entries.length;
  entries = mergeEntries(entries, await loadAll());
  keepAll();
  moveOnFromSaved();
  if (entries.length !== before) show();
  else showStatus();
}

// Browsers ask before they close a page that says so.
function holdBack(event) {
  if (!unsaved.size) return;
  event.preventDefault();
  event.returnValue = "";
}

// Forms that became entries just before the page was killed are done with.
function moveOnFromSaved() {
  const there = new Set(entries.map(({ id }) => id));
  for (const [job, form] of Object.entries(draft.forms)) if (there.has(form.id)) draft.forms[job] = nextForm(job, form);
  if (draft.card && there.has(draft.card.id)) draft.card = nextCard(draft.card);
}

async function start() {
  block = JSON.parse(document.getElementById("field").textContent);
  speech.words = block.words;
  store = openStore(block.book);
  entries = await loadAll();
  const empty = { touch: 0, screen: "home", forms: {}, exported: 0, by: "", taken: "" };
  draft = { ...empty, device: randomName(), language: block.language, unit: block.unit, ...((await store.loadDraft()) || {}) };
  if (!(draft.language in speech.words)) draft.language = block.language;
  setLanguage(draft.language);
  moveOnFromSaved();
  document.addEventListener("keydown", typed);
  document.addEventListener("visibilitychange", () => (document.hidden ? null : refresh()));
  window.addEventListener("beforeunload", holdBack);
  setInterval(() => (whole || refused ? keepAll() : refresh()), 5000);
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => null);
  const states = await store.settle(entries);
  entries.forEach((entry, i) => note(entry, states[i]));
  refused = !(await store.keepDraft(draft));
  document.getElementById("plain").hidden = true;
  document.getElementById("page").hidden = false;
  show();
  keepAll();
  document.documentElement.dataset.ready = "yes";
}

start().catch((error) => {
  document.documentElement.dataset.ready = "failed";
  console.error(error);
});
