// What is entered at a vine: the fields of each job, what cannot be, and what is asked about before it is saved.
const FIELDS = {
  vine: { digits: 5 },
  weight: { digits: 6, decimal: true },
  canes: { digits: 3 },
  bull_canes: { digits: 3 },
  buds_cut: { digits: 3 },
  primary_dead: { digits: 3 },
  secondary_dead: { digits: 3 },
  buds_left: { digits: 3 },
  note: { text: true },
  worker: { who: true },
};
const JOBS = {
  weigh: { fields: ["weight", "canes", "bull_canes", "note"], needed: ["weight"] },
  buds: { fields: ["buds_cut", "primary_dead", "secondary_dead", "note"], needed: ["buds_cut", "primary_dead"] },
  check: { fields: ["buds_left", "worker", "note"], needed: ["buds_left"] },
};
const VINE_JOBS = Object.keys(JOBS);
// Of two counts the second is a part of the first.
const PARTS = [["canes", "bull_canes"], ["buds_cut", "primary_dead"], ["buds_cut", "secondary_dead"]];
// So many weights of the block itself, where no map says what to expect, and the least spread of their logarithm that is
// believed (design choices: a vine-to-vine coefficient of variation of 0.3 is an even block).
const WEIGHTS_TO_LEARN_FROM = 8;
const LEAST_SPREAD = 0.3;
const ODD_AT = 3;

const rowNamed = (name) => block.rows.find(({ row }) => row === name) || null;
const listed = (job, row, vine) => block[job].find((one) => one.row === row && one.vine === vine) || null;
const vinePlace = (job, row, vine) => (listed(job, row, vine) || {}).lonlat || placeOfVine(rowNamed(row), vine);
// First and last vine of a place of the list: more than one where they are weighed together.
const endsOf = (job, row, vine) => (listed(job, row, vine) || {}).together || [vine, vine];
// Of one vine.
const kilograms = ({ weight, unit, vines_weighed = 1 }) => (weight * KG_PER[unit]) / vines_weighed;

// Live entries of a job at a vine.
const entriesAt = (job, row, vine) => live().filter((e) => e.job === job && e.row === row && e.vine === vine);
const measuredAt = (job, row, vine) => entriesAt(job, row, vine).filter((e) => TABLES[job].needs in e.values);

// The walk: the vines of the list, and behind each that was left out the spares that stand in for it.
function walkOf(job) {
  const walk = [];
  for (const main of block[job].filter((one) => one.spare_of === null)) {
    const chain = [main, ...block[job].filter((one) => one.spare_of === main.order)];
    const links = [];
    for (const vine of chain) {
      const measured = measuredAt(job, vine.row, vine.vine).length > 0;
      const left = !measured && entriesAt(job, vine.row, vine.vine).length > 0;
      links.push({ ...vine, done: measured, left });
      if (!left) break;
    }
    walk.push({ main: main.order, links, done: links.some(({ done }) => done) });
  }
  return walk;
}

const openLink = (stop) => (stop.done ? null : stop.links.find(({ done, left }) => !done && !left) || null);

// The next vine of the list after a place in the walk, else the first that is open.
function nextVine(job, after = 0) {
  const stops = walkOf(job).filter(openLink);
  const stop = stops.find(({ main }) => main >= after) || stops[0];
  return stop ? { ...openLink(stop), main: stop.main } : null;
}

function progressOf(job) {
  const walk = walkOf(job);
  if (walk.length) return say("progress", { done: walk.filter((stop) => !openLink(stop)).length, all: walk.length });
  return say("progress_free", { done: tableEntries(job, entries).length });
}

// A form carries the name of the entry it becomes: after a crash between the two it is known that it was saved.
function emptyForm(job, at) {
  const row = at ? at.row : (lastOf(job) || block.rows[0] || { row: "" }).row;
  const form = { id: randomName(), row, vine: at ? String(at.vine) : "", main: at ? at.main : null, values: {}, corrects: "" };
  form.field = at ? JOBS[job].fields[0] : "vine";
  if (job === "check") form.values.worker = prunerOf(row);
  return form;
}

// The form that follows one that was saved: the next vine of the list, or another one of the row.
function nextForm(job, form) {
  const free = form.main === null;
  const next = emptyForm(job, free ? null : nextVine(job, form.main));
  return free ? { ...next, row: form.row } : next;
}

const lastOf = (job) => [...live()].reverse().find((entry) => entry.job === job && entry.device === draft.device) || null;

// Who pruned a row, where only one is known.
function prunerOf(row) {
  const names = new Set(live().filter((e) => e.job === "prune" && e.row === row).map((e) => e.values.worker || e.by));
  return names.size === 1 ? [...names][0] : "";
}

function knownWorkers() {
  const names = live().flatMap((e) => [e.values.worker, e.job === "prune" ? e.by : ""]);
  return [...new Set([draft.by, ...names].filter(Boolean))].sort();
}

// A form to correct what this phone entered at a vine, or to enter it once more.
function formAt(job, row, vine, main = null) {
  const form = emptyForm(job, { row, vine, main });
  const own = measuredAt(job, row, vine).filter(({ device }) => device === draft.device).pop();
  if (!own) return form;
  form.corrects = own.id;
  return fillForm(form, own.values);
}

function fillForm(form, values) {
  if (values.unit) draft.unit = values.unit;
  for (const [name, value] of Object.entries(values)) if (name in FIELDS) form.values[name] = String(value);
  return form;
}

// Values as they are kept: numbers, and texts that say something.
function valuesOf(job, form) {
  const values = {};
  for (const name of JOBS[job].fields) {
    const text = (form.values[name] || "").trim();
    if (text) values[name] = FIELDS[name].text || FIELDS[name].who ? text : Number(text);
  }
  if ("weight" in values) values.unit = draft.unit;
  const [first, last] = endsOf(job, form.row, Number(form.vine));
  if (job === "weigh" && last > first) values.vines_weighed = last - first + 1;
  if (job === "buds") {
    const place = vinePlace(job, form.row, Number(form.vine));
    if (place) [values.lon, values.lat] = place.map((degrees) => Number(degrees.toFixed(7)));
  }
  return values;
}

// Why a form cannot be saved, as [field, sentence]; null where it can.
function cannot(job, form) {
  const row = rowNamed(form.row);
  const vine = Number(form.vine);
  if (!form.vine) return ["vine", say("need", { what: say("field_vine") })];
  if (row && (vine < row.first_vine || vine > row.last_vine)) {
    return ["vine", say("no_such_vine", { row: form.row, first: row.first_vine, last: row.last_vine })];
  }
  const values = valuesOf(job, form);
  const lacking = JOBS[job].needed.find((name) => !(name in values));
  if (lacking) return [lacking, say("need", { what: say(`field_${lacking}`) })];
  if (job === "weigh") {
    const kg = kilograms(values);
    if (!(kg >= block.limits.least_kg && kg <= block.limits.most_kg)) return ["weight", say("not_possible", { what: shownWeight(values) })];
  }
  const wrong = PARTS.find(([whole, part]) => whole in values && part in values && values[part] > values[whole]);
  if (wrong) return [wrong[1], say("more_than", { part: say(`field_${wrong[1]}`), whole: say(`field_${wrong[0]}`) })];
  const many = JOBS[job].fields.find((name) => values[name] > block.limits.most_count && name !== "weight");
  if (many) return [many, say("not_possible", { what: values[many] })];
  return values.buds_cut === 0 ? ["buds_cut", say("need", { what: say("field_buds_cut") })] : null;
}

// What is asked before a form is saved, as {field, text}; null where nothing looks odd.
function doubt(job, form) {
  const values = valuesOf(job, form);
  if (job === "weigh") {
    const range = expectedAt(form.row, Number(form.vine));
    const kg = kilograms(values);
    if (range && (kg < range[0] || kg > range[1])) return { field: "weight", text: oddText(values, range) };
  }
  const others = measuredAt(job, form.row, Number(form.vine)).filter(({ id }) => id !== form.corrects);
  if (others.length) return { field: "", text: say("twice", { what: others.map(shownValues).join(" · ") }) };
  return null;
}

function oddText(values, range) {
  const [low, high] = range.map((kg) => number((kg * vinesIn(values)) / KG_PER[values.unit], values.unit === "g" ? 0 : 2));
  return say("odd", { what: shownWeight(values), low, high, unit: values.unit });
}

// Too much is seen while it is typed; too little only when no digit may follow.
function seenAtOnce(form) {
  const values = valuesOf("weigh", form);
  const range = expectedAt(form.row, Number(form.vine));
  return "weight" in values && range && kilograms(values) > range[1] ? oddText(values, range) : "";
}

// The weights that need no second look at a vine: the map's, the block's, or those of the block's own weights so far.
function expectedAt(row, vine) {
  const own = listed("weigh", row, vine);
  return (own && own.expected_kg) || block.expected_kg || learned();
}

function learned() {
  const logs = tableEntries("weigh", entries).map(({ values }) => Math.log(kilograms(values))).filter(Number.isFinite);
  if (logs.length < WEIGHTS_TO_LEARN_FROM) return null;
  const middle = median(logs);
  // 1.4826: median absolute deviation to standard deviation of a normal.
  const spread = Math.max(1.4826 * median(logs.map((log) => Math.abs(log - middle))), LEAST_SPREAD);
  return [Math.exp(middle - ODD_AT * spread), Math.exp(middle + ODD_AT * spread)];
}

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

const shownWeight = ({ weight, unit }) => `${number(weight)} ${unit}`;

// What an entry says, without its place.
function shownValues(entry) {
  const { values, job } = entry;
  const who = entry.device === draft.device ? "" : ` (${entry.by || say("other_phone")})`;
  if (values.left_out) return say(`left_${values.left_out}`) + who;
  if (job === "weigh") return shownWeight(values) + who;
  if (job === "buds") return say("shown_buds", { dead: values.primary_dead, cut: values.buds_cut }) + who;
  if (job === "check") return say("shown_left", { left: values.buds_left, asked: askedAt(entry.row, entry.vine) }) + who;
  const hours = values.hours ? ` ${number(values.hours, 2)} h` : "";
  return `${say(values.done ? "row_done" : "row_part")}${hours}${values.worker ? ` (${values.worker})` : who}`;
}

function shownEntry(entry) {
  const fields = { row: entry.row, vine: entry.vine };
  return `${say(entry.vine === null ? "place_row" : "place", fields)}: ${shownValues(entry)}`;
}

// What was asked for at a vine: its number, or what is treated apart.
function askedAt(name, vine) {
  const row = rowNamed(name);
  if (!row) return "–";
  const apart = Object.keys(row.apart).find((kind) => row.apart[kind].includes(vine));
  if (apart) return say(`apart_${apart}`).toLowerCase();
  const run = row.runs.find(({ first_vine, last_vine }) => vine >= first_vine && vine <= last_vine);
  return run ? numberOf(run) : "–";
}
