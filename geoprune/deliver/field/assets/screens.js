// The screens. All of them are drawn anew from the state at every touch; the button that had the focus gets it back.
function head(title, progress, ...tools) {
  return make("header", {},
    button("home", say("menu"), () => go("home"), { class: "icon text" }),
    make("h1", {}, make("span", { text: title }), make("small", { text: block.name })),
    progress ? make("p", { class: "progress", text: progress }) : null,
    ...tools);
}

function homeScreen() {
  const jobs = Object.keys(TABLES).map((job) => {
    const node = button(`job-${job}`, "", () => go(job), { class: "job" });
    const done = job === "prune" ? rowsDone("progress_rows") : progressOf(job);
    node.append(make("b", { text: say(`job_${job}`) }), make("span", { text: done }));
    return make("li", {}, node);
  });
  return [
    make("header", {}, make("h1", { class: "whole" }, make("span", { text: block.name }), make("small", { text: homeFacts() }))),
    make("main", { class: "scroll" },
      make("ul", { class: "jobs" }, ...jobs),
      button("export", fresh() ? say("export_fresh", { entries: fresh() }) : say("export"), () => go("export"), { class: "wide" }),
      settings(),
      make("section", { class: "cautions" }, ...block.texts[speech.language].cautions.map((text) => make("p", { text }))),
    ),
  ];
}

const homeFacts = () => [block.variety, say("season", { season: block.season })].filter(Boolean).join(" · ");

function choice(name, options, chosen, choose) {
  return make("div", { class: "choice", role: "group", "aria-label": say(name) },
    make("span", { text: say(name) }),
    ...options.map(([value, text]) =>
      button(`${name}-${value}`, text, () => choose(value), { "aria-pressed": String(value === chosen), "data-value": value })));
}

function settings() {
  const languages = Object.entries(speech.words).map(([code, words]) => [code, words.language_name]);
  const initials = make("input", { id: "by", value: draft.by, maxlength: 12, autocomplete: "off", autocapitalize: "characters", "data-key": "by",
    oninput: (event) => touch(() => { draft.by = event.target.value; }, false) });
  return make("section", { class: "settings", "aria-label": say("settings") },
    choice("language", languages, speech.language, (code) => touch(() => setLanguage(code))),
    choice("unit", Object.keys(KG_PER).map((unit) => [unit, unit]), draft.unit, (unit) => touch(() => { draft.unit = unit; })),
    make("label", { for: "by", text: say("initials") }), initials);
}

// The form of a job at one vine.
function vineScreen(job) {
  const form = formOf(job);
  const field = form.ask ? "" : form.field;
  return [
    head(say(`job_${job}`), progressOf(job), button("list", say("list"), () => go("list"), { class: "icon text" })),
    statusLine(),
    make("main", { class: "form" }, placeHead(job, form), fieldButtons(job, form), lowerHalf(job, form, field)),
  ];
}

function placeHead(job, form) {
  const free = form.main === null;
  const [first, last] = endsOf(job, form.row, Number(form.vine));
  const place = free
    ? make("div", { class: "place" }, rowPicker(form.row, (name) => touch(() => moveRow(job, form, name))), fieldButton("vine", form))
    : make("div", { class: "place" }, make("span", { text: say("row") }), make("b", { class: form.row.length > 4 ? "long" : "", text: form.row }),
      make("span", { text: say(last > first ? "vines" : "vine") }), make("b", { text: last > first ? `${first}–${last}` : form.vine }),
      button("find", say("find_vine"), () => findVine(job, form), { class: "icon text" }));
  return make("div", { class: "where" }, place, hereAlready(job, form) || saidHere(job, form));
}

// One line's room for what is wrong, else for the way: the keys below never move under a thumb.
function saidHere(job, form) {
  const wrong = form.problem || (job === "weigh" && !form.ask ? seenAtOnce(form) : "");
  return make("p", { class: wrong ? "way warning" : "way", role: wrong ? "alert" : null, text: wrong || form.near || wayHere(job, form) });
}

// How far and which way the vine is from where the phone is.
function findVine(job, form) {
  const target = vinePlace(job, form.row, Number(form.vine));
  const tell = (text) => { form.near = text; show(); };
  if (!target) return tell(say("no_position"));
  tell(say("locating"));
  return findPosition((place, accuracy) => {
    const { metres, letters } = bearing(place, target);
    tell(say("from_here", { distance: distance(metres), letters, off: distance(accuracy) }));
  }, () => tell(say("no_position")));
}

function moveRow(job, form, name) {
  Object.assign(form, { row: name, vine: "", field: "vine", problem: "" });
  if (job === "check") form.values.worker = prunerOf(name);
}

function wayHere(job, form) {
  const last = lastOf(job);
  const way = last && form.vine && last.vine !== null ? wayTo(last, { row: form.row, vine: Number(form.vine) }) : "";
  const stop = form.main !== null && listed(job, form.row, Number(form.vine));
  const spare = stop && stop.spare_of !== null ? say("is_spare") : "";
  const over = form.main === null && !form.vine && block[job].length && !nextVine(job) ? say("list_done") : "";
  return [spare, over, way && say("way", { way })].filter(Boolean).join(" ");
}

function hereAlready(job, form) {
  if (form.problem) return null;
  const found = form.vine ? entriesAt(job, form.row, Number(form.vine)).filter(({ id }) => id !== form.corrects) : [];
  if (!found.length) return form.corrects ? make("p", { class: "way", text: say("correcting") }) : null;
  return make("ul", { class: "already" }, ...found.map((entry) =>
    make("li", {}, make("span", { text: shownValues(entry) }), takeBack(entry))));
}

const takeBack = (entry) => button(`back-${entry.id}`, say("take_back"), () => undo(entry), { class: "small" });

function rowPicker(name, pick) {
  const names = block.rows.map(({ row }) => row);
  const at = names.indexOf(name);
  const step = (key, sign, label, to) =>
    button(key, sign, () => pick(names[to]), { class: "step", "aria-label": say(label), disabled: to < 0 || to >= names.length });
  const select = make("select", { "aria-label": say("row"), "data-key": "row", onchange: (event) => pick(names[event.target.selectedIndex]) },
    ...names.map((row) => make("option", { text: say("place_row", { row }) })));
  select.selectedIndex = at;
  return make("span", { class: "picker" }, step("row-down", "‹", "row_before", at - 1), select, step("row-up", "›", "row_after", at + 1));
}

function fieldButtons(job, form) {
  const { fields } = JOBS[job];
  return make("div", { class: `fields of-${fields.length}` }, ...fields.map((name) => fieldButton(name, form)));
}

function fieldButton(name, form) {
  const node = button(`field-${name}`, "", () => touch(() => { Object.assign(form, { field: name, ask: null }); }), {
    class: "field", "aria-pressed": String(form.field === name && !form.ask),
  });
  const value = name === "vine" ? form.vine : form.values[name] || "";
  const shown = FIELDS[name].decimal ? value.replace(".", decimalMark()) : value;
  const unit = name === "weight" ? ` ${draft.unit}` : "";
  node.append(make("span", { text: say(`short_${name}`) + unit }), make("b", { text: shown || "–" }));
  return node;
}

function lowerHalf(job, form, field) {
  if (form.ask) return question(job, form);
  if (form.leaving) return leavingOut(job, form);
  const input = FIELDS[field].text ? noteInput(form) : FIELDS[field].who ? whoInput(form) : pad(job, form);
  return make("div", { class: "lower" }, input, actions(job, form));
}

function pad(job, form) {
  const decimal = FIELDS[form.field].decimal;
  const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9", decimal ? "." : "", "0", "←"];
  return make("div", { class: "pad", role: "group", "aria-label": say(`field_${form.field}`) }, ...keys.map((key) =>
    key
      ? button(`pad-${key}`, key === "." ? decimalMark() : key, () => press(job, key), key === "←" ? { "aria-label": say("rub_out") } : {})
      : make("span")));
}

function noteInput(form) {
  const area = make("textarea", { "aria-label": say("field_note"), "data-key": "note", rows: 3, maxlength: 300,
    oninput: (event) => touch(() => { form.values.note = event.target.value; }, false) });
  area.value = form.values.note || "";
  return make("div", { class: "typed" }, area);
}

// Who did it: a name that is known already, or a new one.
function whoInput(form) {
  const set = (name, draw) => touch(() => { form.values.worker = name; }, draw);
  const input = make("input", { "aria-label": say("field_worker"), "data-key": "who", maxlength: 20, autocomplete: "off",
    value: form.values.worker || "", oninput: (event) => set(event.target.value, false) });
  return make("div", { class: "typed" },
    make("div", { class: "names" }, ...knownWorkers().map((name) =>
      button(`who-${name}`, name, () => set(name, true), { "aria-pressed": String(form.values.worker === name) }))), input);
}

function actions(job, form) {
  const last = lastOf(job);
  const second = job === "weigh" && form.main !== null
    ? button("leave", say("leave_out"), () => touch(() => { form.leaving = true; }))
    : null;
  return make("div", { class: "actions" },
    button("undo", say("undo"), () => undo(last), { disabled: !last }), second,
    button("save", say(form.corrects ? "save_correction" : "save"), () => saveForm(job), { class: "main" }));
}

function question(job, form) {
  const change = () => touch(() => {
    if (form.ask.field) Object.assign(form, { field: form.ask.field, values: { ...form.values, [form.ask.field]: "" } });
    form.ask = null;
  });
  const keep = form.ask.field ? "keep" : "keep_both";
  return make("div", { class: "lower ask", role: "alertdialog", "aria-label": say("look_again") },
    make("p", { text: form.ask.text }),
    make("div", { class: "two" },
      button("change", say("change"), change, { class: "main" }),
      button("keep", say(keep), () => saveForm(job, true))));
}

function leavingOut(job, form) {
  const back = () => touch(() => { form.leaving = false; });
  return make("div", { class: "lower ask", role: "group", "aria-label": say("leave_out") },
    make("p", { text: say("why_left") }),
    make("div", { class: "reasons" }, ...block.left_out.map((reason) =>
      button(`left-${reason}`, say(`left_${reason}`), () => leaveOut(job, form, reason))),
    button("left-back", say("back"), back)));
}

// The list of a job in walking order, or what was entered where people choose.
function listScreen(job) {
  const walk = walkOf(job).flatMap(({ main, links }) => links.map((link) => ({ ...link, main })));
  const places = new Set(walk.map(({ row, vine }) => `${row}\n${vine}`));
  const other = live().filter((e) => e.job === job && !places.has(`${e.row}\n${e.vine}`));
  const item = ({ row, vine, main }, found) => {
    const mark = found.length > 1 ? `${found.length}×` : found.length ? "✓" : "";
    const node = button(`to-${row}-${vine}`, "", () => openVine(job, row, vine, main ?? null), { class: "entry" });
    node.append(make("b", { text: say("place", { row, vine }) }), make("span", { text: found.map(shownValues).join(" · ") }), make("i", { text: mark, "aria-hidden": "true" }));
    return make("li", {}, node);
  };
  const others = [...new Map(other.map((e) => [`${e.row}\n${e.vine}`, e])).values()];
  return [
    head(say(`job_${job}`), progressOf(job), button("close", say("back"), () => go(job), { class: "icon text" })),
    statusLine(),
    make("main", { class: "scroll" },
      button("free", say("other_vine"), () => openVine(job, null), { class: "wide" }),
      make("ol", { class: "list" }, ...[...walk, ...others].map((at) => item(at, entriesAt(job, at.row, at.vine))))),
  ];
}

// Ways out and in: tables for the commands, everything for another phone or the office, another phone's list.
function exportScreen() {
  const tables = Object.keys(TABLES).map((job) => {
    const count = tableEntries(job, entries).length;
    return button(`csv-${job}`, say(`csv_${job}`, { count }), () => exportTable(job), { class: "wide", disabled: !count });
  });
  const pick = make("input", { type: "file", id: "pick", hidden: true, multiple: true, accept: ".json,application/json",
    onchange: (event) => takeIn([...event.target.files]) });
  const area = make("textarea", { id: "text", readonly: true, rows: 4, "aria-label": say("as_text"), "data-key": "text" });
  area.value = listText(entries, block);
  return [
    head(say("export"), ""),
    statusLine(),
    make("main", { class: "scroll" },
      make("p", { text: fresh() ? say("export_new", { entries: fresh() }) : say("export_none") }),
      button("json", say("export_list", { entries: entries.length }), exportList, { class: "wide main" }),
      make("p", { class: "quiet", text: say("export_list_why") }),
      button("take-in", say("take_in"), () => pick.click(), { class: "wide" }), pick,
      draft.taken ? make("p", { class: "taken", role: "status", text: draft.taken }) : null,
      make("h2", { text: say("tables") }), ...tables,
      make("h2", { text: say("as_text") }), area),
  ];
}
