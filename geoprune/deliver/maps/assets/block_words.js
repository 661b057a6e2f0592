// The map of one block: what is said beside it.
function showPage() {
  document.documentElement.lang = speech.language;
  document.title = `${data.name} – ${say("title")}`;
  put("settings", ...pageChoices(), printButton());
  put("name", data.name);
  put("facts", [data.variety, data.rule, said().training].filter(Boolean).join(" · "), linkList(data.links, data.name));
  showAnswer();
  put("zones", ...data.zones.map(zoneEntry));
  put("key", ...(data.zones.length > 1 ? data.zones.map(keyEntry) : []));
  showSearch();
  showLayers();
  showCard();
  showTables();
  showCautions();
  groundTools(ground, say("whole_block"));
  showScale(ground);
}

function showAnswer() {
  const { stop, verdict, why, tape } = said();
  put("verdict", stopLine(stop), verdict);
  put("why", ...[...why, ...tape].map((text) => make("p", { text })));
}

function zoneEntry(zone, i) {
  const words = said().zones[i];
  const stopped = !known(zone.buds);
  const lines = make("div", { class: "words" },
    make("h3", {}, make("span", { text: words.title }), tapeMarks(zone.bands)),
    make("p", { class: "where", text: capital(words.where) }),
    words.leave || words.withheld ? make("p", { text: words.leave || words.withheld }) : null,
    make("p", { text: words.size }),
    make("p", { class: "quiet", text: words.counts }),
  );
  const numeral = make("p", { class: "numeral" },
    make("b", { class: stopped ? "stop" : null, text: words.number }),
    stopped ? null : make("span", { text: say("buds_per_vine") }));
  const show = make("button", {
    type: "button", text: say("show"), "aria-label": say("show_zone", { zone: zone.zone }),
    onclick: () => ground.show(boundsOf(shape.zones[i] || shape.block)),
  });
  return make("li", { "data-zone": zone.zone }, numeral, lines,
    make("div", { class: "side" }, zoneSwatch(zone.style, 44, 58), show));
}

// On a phone the numbers with their patterns lie on the map itself, so that both are seen together.
const keyEntry = (zone, i) => make("li", {}, zoneSwatch(zone.style, 26, 20), make("b", { text: said().zones[i].number }), tapeMarks(zone.bands));

const wayOf = (row) => said().ways[data.rows[row]] || "";

function showSearch() {
  const field = make("input", {
    id: "row", type: "search", autocomplete: "off", inputmode: "text", list: "row-names", "aria-describedby": "row-found" });
  const found = make("p", { id: "row-found", class: "quiet" });
  const names = make("datalist", { id: "row-names" }, ...data.rows.slice(0, 400).map((name) => make("option", { value: name })));
  const form = make("form", {
    onsubmit: (event) => {
      event.preventDefault();
      found.textContent = findRow(field.value) ? "" : say("row_not_found", { row: field.value });
    },
  }, make("label", { for: "row", text: say("find_row") }), field, make("button", { type: "submit", text: say("find") }), names);
  put("search", form, found);
}

function findRow(text) {
  const wanted = text.trim().toLowerCase();
  const index = data.rows.findIndex((name) => name.trim().toLowerCase() === wanted);
  if (index < 0) return false;
  Object.assign(chosen, { row: index, panel: null, sample: null });
  showCard();
  ground.show(boundsOf([shape.rows[index]]));
  ground.redraw();
  return true;
}

function showLayers() {
  const box = (layer) => {
    const { name } = layer;
    const available = present(layer);
    const input = make("input", {
      type: "checkbox", "data-layer": name, checked: on.has(name) && available, disabled: !available,
      onchange: (event) => setLayer(name, event.target.checked),
    });
    const sign = layerSign(layer);
    const text = make("span", { text: say(`layer_${name}`) + (available ? "" : ` (${say("no_data")})`) });
    return make("li", {}, make("label", {}, input, sign, text), legendOf(layer));
  };
  const part = (title, layers) => [make("h3", { text: say(title) }), make("ul", {}, ...layers.map(box))];
  put("layers", make("legend", { text: say("layers") }), ...part("layers_signs", LAYERS.filter((layer) => !layer.ground && (!layer.rare || present(layer)))),
    ...part("layers_colors", groundLayers));
}

function setLayer(name, checked) {
  if (checked && layerNamed(name).ground) groundLayers.forEach((other) => on.delete(other.name));
  if (checked) on.add(name);
  else on.delete(name);
  for (const input of document.querySelectorAll("#layers input")) input.checked = shown(input.dataset.layer);
  for (const legend of document.querySelectorAll("#layers .ramp")) legend.hidden = !on.has(legend.dataset.of);
  ground.redraw();
}

// A small drawing of how the layer looks on the map.
function layerSign(layer) {
  const [width, height] = [34, 22];
  const canvas = make("canvas", { class: "sign", "aria-hidden": "true" });
  Object.assign(canvas, { width: width * 2, height: height * 2 });
  const context = canvas.getContext("2d");
  context.scale(2, 2);
  const view = new View(context, 1, 0, 0, [0, 0, width, height], 2, 0);
  (layer.sign || rampSign)(view, data.look, width, height, layer.ground);
  return canvas;
}

function rampSign(view, look, width, height, ramp) {
  for (let x = 0; x < width; x += 1) {
    view.context.fillStyle = css(mix(look[ramp], x / (width - 1)));
    view.context.fillRect(x, 4, 1, height - 8);
  }
  view.stroke(pathOf(`M.5 4.5H${width - 0.5}V${height - 4.5}H.5Z`), look.ink, 1);
}

// Least, middle and greatest value under the ramp of a layer that colours the ground.
function legendOf(layer) {
  if (!layer.ground || !present(layer)) return null;
  const { name, ground: ramp } = layer;
  const [low, high] = layer.values();
  const write = layer.share ? percent : (kg) => weight(kg, layer.digits);
  const strip = make("canvas", { "aria-hidden": "true" });
  Object.assign(strip, { width: 256, height: 1 });
  const pen = strip.getContext("2d");
  for (let x = 0; x < 256; x += 1) {
    pen.fillStyle = css(mix(data.look[ramp], x / 255));
    pen.fillRect(x, 0, 1, 1);
  }
  const ticks = [low, (low + high) / 2, high].map((value) => make("span", { text: write(value) }));
  const legend = make("div", { class: "ramp", "data-of": name }, strip, make("div", { class: "ticks" }, ...ticks));
  legend.hidden = !on.has(name);
  return legend;
}

function showCard() {
  const parts = [];
  if (chosen.panel !== null) parts.push(panelCard(chosen.panel));
  if (chosen.sample !== null) parts.push(sampleCard(chosen.sample));
  if (chosen.row !== null) parts.push(rowCard(chosen.row));
  const shut = make("button", {
    type: "button", text: "×", class: "shut", "aria-label": say("close"),
    onclick: () => {
      Object.assign(chosen, { panel: null, row: null, sample: null });
      showCard();
      ground.redraw();
    },
  });
  put("card", ...(parts.length ? [shut, ...parts] : []));
  const card = document.getElementById("card");
  card.hidden = !parts.length;
  if (parts.length) card.scrollIntoView({ block: "nearest" });
}

function facts(...pairs) {
  const list = make("dl");
  for (const [name, value] of pairs) {
    if (value === null || value === "–" || value === "") continue;
    list.append(make("dt", { text: name }), make("dd", { text: value }));
  }
  return list;
}

function panelCard(i) {
  const { columns } = data;
  const at = data.zones.findIndex((entry) => entry.zone === columns.panel_zone[i]);
  const words = said().zones[at];
  const [kg, error] = [columns.panel_size[i] * 1e-5, columns.panel_error[i] * 1e-5];
  const sized = columns.panel_size[i] > 0;
  const share = (value) => (value ? percent((value - 1) / 1000) : "–");
  const [first, last] = [columns.panel_first[i], columns.panel_last[i]];
  return make("section", { "data-card": "panel" },
    make("h3", { text: say(data.surveyed ? "card_panel" : "card_stretch", { row: data.rows[columns.panel_row[i]], panel: columns.panel_number[i], first, last }) }),
    make("p", { class: "numeral" }, make("b", { text: words.number }), make("span", { text: say("buds_per_vine") })),
    facts(
      [say("vines"), say("card_vines", { first, last, counted: number(columns.panel_vines[i]) })],
      [say("not_bearing"), statusWords(columns.panel_row[i], first, last)],
      [say("zone"), words.title],
      [say("vine_size"), sized ? say("card_size", { size: weight(kg), range: interval(kg, error) }) : "–"],
      [say("recipe"), words.recipe],
      [say("bull_share"), share(columns.panel_bull[i])],
      [say("injury_share"), share(columns.panel_injury[i])],
      [say("caution"), columns.panel_far[i] ? say("card_far") : "–"],
    ));
}

const STATUS_NAMES = ["bearing", "young", "missing", "dead", "diseased", "renew"];

function statusWords(row, first, last) {
  const start = shape.vines.starts[row];
  const counts = {};
  const stop = Math.min(start + last, shape.vines.starts[row + 1] ?? 0);
  for (let i = start + first - 1; i < stop; i += 1) {
    const name = STATUS_NAMES[data.columns.vine_status[i]];
    if (name !== "bearing") counts[name] = (counts[name] || 0) + 1;
  }
  return Object.entries(counts).map(([name, count]) => `${count} ${word("status", name)}`).join(", ") || "–";
}

function sampleCard(i) {
  const { samples } = data;
  const loo = known(samples.loo_kg[i]) ? say("card_loo", { size: weight(samples.loo_kg[i], 2) }) : "–";
  return make("section", { "data-card": "sample" },
    make("h3", { text: say("card_sample", { row: samples.row[i], vine: samples.vine[i] ?? "–" }) }),
    facts(
      [say("weighed"), weight(samples.vine_weight_kg[i], 2)],
      [say("neighbours"), loo],
      [say(samples.used[i] ? "caution" : "left_out"), said().samples[i] || "–"],
      [say("note"), samples.note[i] || "–"],
    ));
}

// A line for each stretch of a row with one number, in the order of the vines; the row's own words come first.
function runLines(row, first = []) {
  return (data.runs[data.rows[row]] || []).map(([from, to, zone, bands, buds, vines]) =>
    [...first, `${from}–${to}`, tapeMarks(bands) || "–", known(buds) ? number(buds) : zoneWords(zone).number, zone, number(vines)]);
}

const zoneWords = (zone) => said().zones[data.zones.findIndex((entry) => entry.zone === zone)];

const RUN_HEADS = ["vines", "tape_head", "buds_per_vine", "zone", "counted"];

function rowCard(row) {
  const apart = (said().apart[data.rows[row]] || []).map((text) => make("p", { text }));
  return make("section", { "data-card": "row" },
    make("h3", { text: say("card_row", { row: data.rows[row] }) }),
    make("p", { class: "quiet", text: say("way_from_1", { way: wayOf(row) }) }),
    table(say("row_list"), RUN_HEADS.map((key) => say(key)), runLines(row)), ...apart);
}

// The map in words: what is drawn can also be read, with a keyboard or aloud.
function showTables() {
  put("tables",
    drawer("zones", say("table_zones"), zoneTable),
    drawer("rows", say("table_rows"), rowTable),
    data.samples.row.length ? drawer("samples", say("table_samples"), sampleTable) : null,
    said().replant.length ? drawer("replant", say("table_replant"), replantTable) : null,
    data.next.row.length ? drawer("next", say("table_next"), nextTable) : null,
    drawer("about", say("table_about"), aboutText));
}

function drawer(name, title, fill) {
  const old = document.querySelector(`details[data-drawer="${name}"]`);
  const body = make("div");
  const whole = make("details", { "data-drawer": name, ontoggle: () => whole.open && !body.firstChild && body.append(fill()) },
    make("summary", { text: title }), body);
  whole.open = Boolean(old && old.open);
  return whole;
}

function zoneTable() {
  const { zones } = said();
  const lines = Object.keys(zones[0].figures).map((key) => [say(key), ...zones.map((zone) => zone.figures[key])]);
  return table(say("table_zones"), [say("figure"), ...zones.map((zone) => zone.title)], lines);
}

function rowTable() {
  const out = [];
  data.rows.forEach((name, row) => {
    const go = make("button", { type: "button", class: "link", text: name, "aria-label": say("show_row", { row: name }),
      onclick: () => findRow(name) });
    const named = make("span", {}, go, make("span", { class: "quiet way", text: wayOf(row) }));
    runLines(row).forEach((line, i) => out.push([i ? name : named, ...line]));
  });
  return table(say("table_rows"), ["row", ...RUN_HEADS].map((key) => say(key)), out);
}

function sampleTable() {
  const { samples } = data;
  const [divisor, , sign] = unitOf("kg");
  const bare = (kg) => (known(kg) ? number(kg / divisor, 2) : "–");
  const heads = [say("row"), say("vine"), `${say("weighed")} (${sign})`, `${say("neighbours")} (${sign})`, say("remark"), say("note")];
  return table(say("table_samples"), heads, samples.row.map((row, i) => [
    row, samples.vine[i] ?? "–", bare(samples.vine_weight_kg[i]), bare(samples.loo_kg[i]), said().samples[i] || "", samples.note[i] || ""]));
}

function replantTable() {
  const keys = ["rows", "missing", "weak_vines", "row_length", "area", "reason"];
  return table(say("table_replant"), keys.map((key) => say(key)), said().replant.map((part) => keys.map((key) => part[key])));
}

function nextTable() {
  const { next } = data;
  return table(say("table_next"), ["stop", "row", "vine"].map((key) => say(key)),
    next.row.map((row, i) => [next.stop[i], row, next.vine[i]]));
}

function aboutText() {
  const { errors, shared, zones, remarks, notes } = said();
  const section = (head, lines) => (lines.length
    ? [make("section", {}, make("h3", { text: head }), ...lines.map((text) => make("p", { text })))] : []);
  const listed = remarks.length ? [make("h3", { text: say("remarks") }),
    make("ul", {}, ...remarks.map((text) => make("li", { text })))] : [];
  return make("div", {}, ...[errors, say("about_size"), say("about_interval")].filter(Boolean).map((text) => make("p", { text })),
    ...section(say("whole_block"), notes), ...section(say("all_zones"), shared),
    ...zones.flatMap((zone, i) => section(say("zone_n", { zone: data.zones[i].zone }), zone.advice)), ...listed);
}
