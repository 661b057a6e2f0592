// Tables for the commands, and safe to open in a spreadsheet: no text becomes a formula.
const FORMULA = /(^|;)(?=\s*[=+\-@＝＋－＠])/g;
const HIDDEN = /[\u0000-\u001f\u007f-\u009f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\uffff]/g;
const PLAIN_NUMBER = /^[+-]?\d+(\.\d+)?$/;

function cell(value) {
  if (value === null || value === undefined) return "";
  if (typeof value === "number") return String(value);
  const plain = String(value).replace(/[\t\r\n]+/g, " ").replace(HIDDEN, "");
  const guarded = PLAIN_NUMBER.test(plain) ? plain : plain.replace(FORMULA, "$1'");
  return /[",;\s]/.test(guarded) ? `"${guarded.replace(/"/g, '""')}"` : guarded;
}

const csv = (columns, lines) => [columns, ...lines].map((line) => `${line.map(cell).join(",")}\r\n`).join("");

// So many vines' prunings were weighed as one.
const vinesIn = ({ vines_weighed = 1 }) => vines_weighed;
const day = (entry) => entry.at.slice(0, 10);
const inUnit = ({ weight, unit }, wanted) =>
  unit === wanted ? weight : Number(((weight * KG_PER[unit]) / KG_PER[wanted]).toFixed(6));

// Job -> its table: what an entry must have to be in it, its columns, and a line.
const TABLES = {
  weigh: {
    needs: "weight",
    columns: (unit) => ["block", "row", "vine", "vines_weighed", `pruning_weight_${unit}`, "canes", "bull_canes", "note", "date", "season"],
    line: (e, block, unit) =>
      [block.name, e.row, e.vine, vinesIn(e.values), inUnit(e.values, unit), e.values.canes, e.values.bull_canes, e.values.note, day(e), block.season],
  },
  buds: {
    needs: "buds_cut",
    columns: () => ["block", "row", "vine", "lon", "lat", "buds_cut", "primary_dead", "secondary_dead", "worker", "note", "date"],
    line: ({ values: v, ...e }, block) =>
      [block.name, e.row, e.vine, v.lon, v.lat, v.buds_cut, v.primary_dead, v.secondary_dead, v.worker || e.by, v.note, day(e)],
  },
  prune: {
    needs: "done",
    columns: () => ["block", "row", "hours", "worker", "done", "date"],
    line: ({ values: v, ...e }, block) => [block.name, e.row, v.hours, v.worker || e.by, v.done ? "yes" : "no", day(e)],
  },
  check: {
    needs: "buds_left",
    columns: () => ["block", "row", "vine", "buds_left", "worker", "note", "date"],
    line: ({ values: v, ...e }, block) => [block.name, e.row, e.vine, v.buds_left, v.worker, v.note, day(e)],
  },
};

const tableEntries = (job, entries) =>
  liveEntries(entries).filter((entry) => entry.job === job && TABLES[job].needs in entry.values);

function tableText(job, entries, block, unit) {
  const { columns, line } = TABLES[job];
  return csv(columns(unit), tableEntries(job, entries).map((entry) => line(entry, block, unit)));
}

function listText(entries, block) {
  const head = { format: FORMAT, version: VERSION, estate: block.estate, block: block.name, season: block.season };
  return `${JSON.stringify({ ...head, entries: mergeEntries(entries) })}\n`;
}

function fileName(block, kind, ending) {
  const plain = block.name.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "_").replace(/^_+|_+$/g, "").slice(0, 40);
  return `${plain || "block"}_${kind}_${localTime().slice(0, 16).replace(/[-:]/g, "").replace("T", "_")}.${ending}`;
}
