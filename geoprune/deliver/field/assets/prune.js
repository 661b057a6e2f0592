// The row card: where am I, what number, which vines are treated apart; ticked off row by row, with hours.
const HOUR_STEPS = [-1, -0.25, 0.25, 1];
// A thumb that bounces must not tick off the next row too.
const STILL_MS = 1000;

const ticksOf = (row) => live().filter((entry) => entry.job === "prune" && entry.row === row);
const rowIsDone = (row) => ticksOf(row).some(({ values }) => values.done);
const rowsDone = (words = "progress") =>
  say(words, { done: block.rows.filter(({ row }) => rowIsDone(row)).length, all: block.rows.length });

function cardForm() {
  const open = block.rows.find(({ row }) => !rowIsDone(row)) || block.rows[0];
  draft.card = draft.card || { id: randomName(), row: open ? open.row : "", hours: 0, worker: draft.by };
  return draft.card;
}

// After a tick: the same row if only a part is done, else the next one that is open.
function nextCard(card) {
  const at = block.rows.findIndex(({ row }) => row === card.row);
  const open = [...block.rows.slice(at + 1), ...block.rows.slice(0, at)].find(({ row }) => !rowIsDone(row));
  const row = rowIsDone(card.row) && open ? open.row : card.row;
  return { id: randomName(), row, hours: 0, worker: card.worker, ticked: Date.now() };
}

function pruneScreen() {
  const card = cardForm();
  const row = rowNamed(card.row);
  const turn = (name) => touch(() => { Object.assign(card, { row: name, near: null, hours: 0 }); });
  return [
    head(say("job_prune"), rowsDone(), button("list", say("list"), () => go("list"), { class: "icon text" })),
    statusLine(),
    make("main", { class: "scroll card" },
      make("div", { class: "place" }, rowPicker(card.row, turn)),
      rowIsDone(card.row) ? make("p", { class: "ticked", text: `✓ ${say("row_done")}` }) : null,
      button("locate", say("where_am_i"), () => locate(card), { class: "wide" }),
      card.near ? make("p", { class: "near", role: "status", text: card.near.text }) : null,
      row ? numbersOf(row, card) : null,
      row ? apartOf(row) : null,
      ticker(card),
      signsTold()),
    make("div", { class: "actions below" },
      button("part", say("row_part"), () => tick(card, false)),
      button("done", say("row_done"), () => tick(card, true), { class: "main" })),
  ];
}

function numbersOf(row, card) {
  const here = card.near && card.near.row === row.row ? card.near.vine : null;
  return make("ol", { class: "runs" }, ...row.runs.map((run) => {
    const inside = here !== null && here >= run.first_vine && here <= run.last_vine;
    const stop = run.buds === null;
    return make("li", { class: inside ? "here" : "" },
      make("span", {}, say("vines_to", { first: run.first_vine, last: run.last_vine }), block.taped && run.bands ? tape(run.bands) : ""),
      make("b", { class: run.instead ? "instead" : stop ? "stop" : "", text: numberOf(run) }),
      make("small", { text: run.instead ? "" : stop ? say("ask_first") : say("buds") }));
  }));
}

// The number of a run, or the word for what is done instead.
function numberOf(run) {
  if (run.buds !== null) return String(run.buds);
  return run.instead ? say(`apart_${run.instead}`) : say("stop_word");
}

function tape(bands) {
  const marks = Array.from({ length: bands }, () => make("i"));
  return make("span", { class: "tape", role: "img", "aria-label": bands === 1 ? say("band") : say("bands", { bands }) }, ...marks);
}

function apartOf(row) {
  const kinds = Object.entries(row.apart);
  if (!kinds.length) return null;
  return make("dl", { class: "apart" }, ...kinds.flatMap(([kind, vines]) =>
    [make("dt", { text: say(`apart_${kind}`) }), make("dd", { text: drawnTogether(vines) })]));
}

function ticker(card) {
  const add = (step) => touch(() => { card.hours = Math.min(Math.max(card.hours + step, 0), 24); });
  const steps = HOUR_STEPS.map((step) =>
    button(`hours-${step}`, `${step < 0 ? "−" : "+"}${Math.abs(step) === 1 ? "1" : "¼"}`, () => add(step),
      { "aria-label": say(step < 0 ? "hours_less" : "hours_more", { hours: number(Math.abs(step)) }) }));
  const worker = make("input", { id: "worker", "data-key": "worker", maxlength: 20, autocomplete: "off", value: card.worker || "",
    oninput: (event) => touch(() => { card.worker = event.target.value; }, false) });
  const names = knownWorkers().map((name) =>
    button(`who-${name}`, name, () => touch(() => { card.worker = name; }), { "aria-pressed": String(card.worker === name) }));
  return make("section", { class: "ticker", "aria-label": say("tick") },
    make("div", { class: "hours" }, ...steps.slice(0, 2), make("b", { text: say("hours", { hours: number(card.hours, 2) }) }), ...steps.slice(2)),
    make("label", { for: "worker", text: say("field_worker") }),
    make("div", { class: "names" }, ...names, worker),
    make("ul", { class: "already" }, ...ticksOf(card.row).map((entry) =>
      make("li", {}, make("span", { text: shownValues(entry) }), takeBack(entry)))));
}

function signsTold() {
  const { signs, cautions } = block.texts[speech.language];
  return make("section", { class: "cautions" }, ...[...signs, ...cautions].map((text) => make("p", { text })));
}

// Ticking a row off turns the card to the next row that is open.
function tick(card, done) {
  if (Date.now() - (card.ticked || 0) < STILL_MS) return;
  const values = { done };
  if (card.hours) values.hours = card.hours;
  if ((card.worker || "").trim()) values.worker = card.worker.trim();
  record({ id: card.id, job: "prune", row: card.row, vine: null, values });
  touch(() => { draft.card = nextCard(card); });
}

function rowsScreen() {
  const item = ({ row }) => {
    const node = button(`row-${row}`, "", () => { touch(() => { cardForm().row = row; }, false); go("prune"); }, { class: "entry" });
    node.append(make("b", { text: say("place_row", { row }) }), make("span", { text: ticksOf(row).map(shownValues).join(" · ") }), make("i", { text: rowIsDone(row) ? "✓" : "", "aria-hidden": "true" }));
    return make("li", {}, node);
  };
  return [
    head(say("job_prune"), rowsDone(), button("close", say("back"), () => go("prune"), { class: "icon text" })),
    statusLine(),
    make("main", { class: "scroll" }, make("ol", { class: "list" }, ...block.rows.map(item))),
  ];
}

// The phone's place turns the card to the nearest row, and says how sure it is.
function locate(card) {
  const tell = (text, near = {}) => { card.near = { ...near, text }; show(); };
  tell(say("locating"));
  findPosition((place, accuracy) => {
    const found = nearestRow(block.rows.filter(({ line }) => line.length > 1), place);
    const off = distance(accuracy);
    if (!found || found.metres > Math.max(50, 2 * accuracy)) return tell(say("not_here", { off }));
    Object.assign(card, { row: found.row.row, hours: 0 });
    return tell(say("near", { row: found.row.row, vine: found.vine, off }), { row: found.row.row, vine: found.vine });
  }, () => tell(say("no_position")));
}
