// The map of one block: what is said beside it.
function showPage() {
  document.documentElement.lang = speech.language;
  document.title = `${told.name} – ${say("title")}`;
  put("settings", ...pageChoices(), printButton());
  put("name", told.name);
  put("facts", [told.variety, told.rule, word("training", told.training)].filter(Boolean).join(" · "), linkList(told.links, told.name));
  showAnswer();
  put("zones", ...told.zones.map(zoneEntry));
  showSearch();
  showLayers();
  showCard();
  showTables();
  showCautions();
  groundTools(ground, say("whole_block"));
  showScale(ground);
}

function showAnswer() {
  const said = told.said[speech.language][speech.units];
  const verdict = say(`verdict_${told.headline}`,
    { zones: number(told.zones.length), buds: number(told.buds) });
  put("verdict", stopLine(said.stop), told.headline === "stop" ? null : verdict);
  const lines = [...said.reasons];
  if (told.replant.length) lines.push(replantLine());
  if (told.headline === "zone" && told.buds !== null) lines.push(say("one_instead", { buds: number(told.buds) }));
  put("why", ...lines.map((text) => make("p", { text })));
}

function replantLine() {
  const missing = told.replant.reduce((sum, part) => sum + (part.vines_missing || 0), 0);
  const rows = told.replant.map(zoneRows).join(", ");
  return say("replant_line", { missing: number(missing), areas: number(told.replant.length), rows });
}

function zoneEntry(zone, i) {
  const one = told.zones.length === 1;
  const swatch = zoneSwatch(styleOf(zone.zone), 44, 58);
  const parts = placeWords(zone.part);
  const stopped = !known(zone.buds_per_vine);
  const where = [zone.name ? word("class", zone.class) : "", stopped ? "" : word("diagnosis", zone.diagnosis), one ? "" : parts];
  const tape = one ? null : tapeMarks(zone.zone);
  const counts = say("zone_counts", { vines: number(zone.vines), area: area(zone.area_ha) });
  const size = say("zone_size", { size: weight(zone.vine_size_kg), range: interval(zone.vine_size_kg, zone.vine_size_se_kg) });
  const words = make("div", { class: "words" },
    make("h3", {}, make("span", { text: `${one ? "" : `${zone.zone} · `}${zoneName(zone)}` }), tape),
    make("p", { class: "where", text: capital(where.filter(Boolean).join(" · ")) }),
    recipeWords(zone) !== "–" ? make("p", { text: say("recipe_line", { recipe: recipeWords(zone) }) }) : null,
    make("p", { text: size }),
    make("p", { class: "quiet", text: counts }),
  );
  const numeral = make("p", { class: "numeral" },
    make("b", { class: stopped ? "stop" : null, text: budCount(zone.buds_per_vine) }),
    stopped ? null : make("span", { text: say("buds_per_vine") }));
  const show = make("button", {
    type: "button", text: say("show"), "aria-label": say("show_zone", { zone: zone.zone }),
    onclick: () => ground.show(boundsOf(shape.zones[i] || shape.block)),
  });
  return make("li", { "data-zone": zone.zone }, numeral, words, make("div", { class: "side" }, swatch, show));
}

// Where a zone lies; two sides of the block are told as one.
function placeWords(parts) {
  const sides = parts.filter((part) => part.length < 3);
  const [first, second] = sides.map((side) => say(`side_${side}`));
  const both = sides.length === 2 ? [say("parts_two", { first, second })] : sides.map((side) => say(`part_${side}`));
  return [...both, ...parts.filter((part) => part.length > 2).map(placeWord)].join(", ");
}

function placeWord(part) {
  const [side, where] = part.split("_");
  return where ? say(`part_${where}`, { side: say(`side_${side}`) }) : say(`part_${part}`);
}

// What a zone is called where zones were given, else its class.
const zoneName = (zone) => zone.name || word("class", zone.class);

// What to leave on the vine, canes and spurs by name.
const recipeWords = (zone) => told.said[speech.language][speech.units].recipes[zone.zone] || "–";

// Which way a row runs from vine 1, as compass letters.
function rowWay(row) {
  const line = shape.rows[row];
  const [east, north] = [line[line.length - 2] - line[0], line[1] - line[line.length - 1]];
  const sector = (Math.round(Math.atan2(east, north) / (Math.PI / 4)) + 8) % 8;
  const letters = say("compass").split(" ");
  return `${letters[(sector + 4) % 8]} → ${letters[sector]}`;
}

const bandsOf = (zone) => (told.zones.length > 1 ? tapeMarks(zone) : "–");

function showSearch() {
  const field = make("input", {
    id: "row", type: "search", autocomplete: "off", inputmode: "text", list: "row-names", "aria-describedby": "row-found" });
  const found = make("p", { id: "row-found", class: "quiet" });
  const names = make("datalist", { id: "row-names" }, ...told.rows.slice(0, 400).map((name) => make("option", { value: name })));
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
  const index = told.rows.findIndex((name) => name.trim().toLowerCase() === wanted);
  if (index < 0) return false;
  Object.assign(chosen, { row: index, panel: null, sample: null });
  showCard();
  ground.show(boundsOf([shape.rows[index]]));
  ground.redraw();
  return true;
}

function showLayers() {
  const box = (name) => {
    const available = present(name);
    const input = make("input", {
      type: "checkbox", "data-layer": name, checked: on.has(name) && available, disabled: !available,
      onchange: (event) => setLayer(name, event.target.checked),
    });
    const sign = layerSign(name);
    const text = make("span", { text: say(`layer_${name}`) + (available ? "" : ` (${say("no_data")})`) });
    return make("li", {}, make("label", {}, input, sign, text), legendOf(name));
  };
  const part = (title, names) => [make("h3", { text: say(title) }), make("ul", {}, ...names.map(box))];
  const signs = LAYERS.map(([name]) => name).filter((name) => !GROUND_COLORS.includes(name));
  put("layers", make("legend", { text: say("layers") }), ...part("layers_signs", signs),
    ...part("layers_colors", GROUND_COLORS));
}

function setLayer(name, checked) {
  if (checked && GROUND_COLORS.includes(name)) GROUND_COLORS.forEach((other) => on.delete(other));
  if (checked) on.add(name);
  else on.delete(name);
  for (const input of document.querySelectorAll("#layers input")) input.checked = shown(input.dataset.layer);
  for (const legend of document.querySelectorAll("#layers .ramp")) legend.hidden = !on.has(legend.dataset.of);
  ground.redraw();
}

// A small drawing of how the layer looks on the map.
function layerSign(name) {
  const [width, height] = [34, 22];
  const canvas = make("canvas", { class: "sign", "aria-hidden": "true" });
  Object.assign(canvas, { width: width * 2, height: height * 2 });
  const context = canvas.getContext("2d");
  context.scale(2, 2);
  const view = new View(context, 1, 0, 0, [0, 0, width, height], 2, 0);
  signDrawings[name](view, told.look, width, height);
  return canvas;
}

const pathOf = (text) => new Path2D(text);
const rampSign = (ramp) => (view, look, width, height) => {
  for (let x = 0; x < width; x += 1) {
    view.context.fillStyle = css(mix(look[ramp], x / (width - 1)));
    view.context.fillRect(x, 4, 1, height - 8);
  }
  view.stroke(pathOf(`M.5 4.5H${width - 0.5}V${height - 4.5}H.5Z`), look.ink, 1);
};
const signDrawings = {
  zones: (view, look, width, height) => {
    [0, 1].forEach((half) => {
      view.context.fillStyle = view.context.createPattern(patternTile(look, told.zones.length === 1 ? 0 : half + 1, 1), "repeat");
      view.context.fillRect(1 + half * 16, 3, 16, height - 6);
    });
    view.stroke(pathOf("M1 3H33V19H1Z M17 3V19"), look.ink, 1.2);
  },
  replant: (view, look) => view.stroke(pathOf("M3 4H31V18H3Z"), look.alarm, 2.2, [6, 3]),
  rows: (view, look) => view.stroke(pathOf("M2 5H32M2 11H32M2 17H32"), look.ink, 0.9),
  panels: (view, look) => {
    view.stroke(pathOf("M2 17H32M2 14V20M17 14V20M32 14V20"), look.ink, 1.4);
    view.text("40", 10, 7, { font: `600 10px ${look.sans}`, color: look.ink });
    view.text("45", 25, 7, { font: `600 10px ${look.sans}`, color: look.ink });
  },
  vines: (view, look) => {
    view.stroke(pathOf("M3 7L11 15M3 15L11 7"), look.alarm, 1.7);
    view.stroke(pathOf("M21 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0"), look.ink, 1.5);
    view.context.fillStyle = look.ink;
    view.context.fill(pathOf("M32 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0"));
  },
  block: (view, look) => view.stroke(pathOf("M4 16L8 4L30 6L27 18Z"), look.ink, 2.2),
  size: rampSign("size_ramp"),
  size_panels: rampSign("size_ramp"),
  sure: rampSign("error_ramp"),
  bull: rampSign("bull_ramp"),
  injury: rampSign("injury_ramp"),
  samples: (view, look) => view.stroke(pathOf("M13 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0M31 11a7 7 0 1 1-14 0a7 7 0 1 1 14 0"), look.ink, 1.8),
  outliers: (view, look) => {
    view.stroke(pathOf("M5 4H19V18H5Z"), look.alarm, 2.2);
    view.text("▲", 27, 11, { font: `700 12px ${look.sans}`, color: look.alarm });
  },
  flags: (view, look) => {
    view.stroke(pathOf("M10 3V20M24 3V20"), look.ink, 2);
    view.stroke(pathOf("M5 6H15M19 6H29M19 11H29"), look.ink, 3);
  },
  next: (view, look) => {
    view.stroke(pathOf("M17 1L27 11L17 21L7 11Z"), look.ink, 1.6);
    view.text("1", 17, 11.5, { font: `700 11px ${look.sans}`, color: look.ink });
  },
};

// Least, middle and greatest value under the ramp of a layer that colours the ground.
function legendOf(name) {
  if (!GROUND_COLORS.includes(name) || !present(name)) return null;
  const grid = told.grid || {};
  const grams = (values) => reach(values).map((value) => value * 1e-5);
  const share = (values) => reach(values).map((value) => (value - 1) / 1000);
  const { columns } = told;
  const [low, high, ramp] = {
    size: () => [...(grid.size || []), "size_ramp"],
    size_panels: () => [...grams(columns.panel_size), "size_ramp"],
    sure: () => [...(grid.error || grams(columns.panel_error)), "error_ramp"],
    bull: () => [...share(columns.panel_bull), "bull_ramp"],
    injury: () => [...share(columns.panel_injury), "injury_ramp"],
  }[name]();
  const shares = name === "bull" || name === "injury";
  const write = shares ? percent : (kg) => weight(kg, name === "sure" ? 2 : undefined);
  const strip = make("canvas", { "aria-hidden": "true" });
  Object.assign(strip, { width: 256, height: 1 });
  const pen = strip.getContext("2d");
  for (let x = 0; x < 256; x += 1) {
    pen.fillStyle = css(mix(told.look[ramp], x / 255));
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
  const { columns } = told;
  const zone = told.zones.find((entry) => entry.zone === columns.panel_zone[i]);
  const [kg, error] = [columns.panel_size[i] * 1e-5, columns.panel_error[i] * 1e-5];
  const sized = columns.panel_size[i] > 0;
  const share = (value) => (value ? percent((value - 1) / 1000) : "–");
  const [first, last] = [columns.panel_first[i], columns.panel_last[i]];
  return make("section", { "data-card": "panel" },
    make("h3", { text: say("card_panel", { row: told.rows[columns.panel_row[i]], panel: columns.panel_number[i] }) }),
    make("p", { class: "numeral" }, make("b", { text: budCount(columns.panel_buds[i] || null) }), make("span", { text: say("buds_per_vine") })),
    facts(
      [say("vines"), say("card_vines", { first, last, counted: number(columns.panel_vines[i]) })],
      [say("not_bearing"), statusWords(columns.panel_row[i], first, last)],
      [say("zone"), zone ? `${told.zones.length === 1 ? "" : `${zone.zone} · `}${zoneName(zone)}` : "–"],
      [say("vine_size"), sized ? say("card_size", { size: weight(kg), range: interval(kg, error) }) : "–"],
      [say("recipe"), zone ? recipeWords(zone) : "–"],
      [say("bull_share"), share(columns.panel_bull[i])],
      [say("injury_share"), share(columns.panel_injury[i])],
      [say("caution"), columns.panel_far[i] ? say("card_far") : "–"],
    ));
}

const STATUS_NAMES = ["bearing", "young", "missing", "dead", "diseased"];

function statusWords(row, first, last) {
  const start = shape.vines.starts[row];
  const counts = {};
  const stop = Math.min(start + last, shape.vines.starts[row + 1] ?? 0);
  for (let i = start + first - 1; i < stop; i += 1) {
    const name = STATUS_NAMES[told.columns.vine_status[i]];
    if (name !== "bearing") counts[name] = (counts[name] || 0) + 1;
  }
  return Object.entries(counts).map(([name, count]) => `${count} ${word("status", name)}`).join(", ") || "–";
}

// Why a weighed vine was left out: too far from any row, or a vine that does not bear.
function whyNot(i) {
  const { samples } = told;
  return known(samples.far_m[i]) ? say("why_far", { distance: lengthOf(samples.far_m[i]) })
    : word("why", samples.why_not[i] || say("left_out"));
}

function sampleCard(i) {
  const { samples } = told;
  const loo = known(samples.loo_kg[i]) ? say("card_loo", { size: weight(samples.loo_kg[i], 2) }) : "–";
  return make("section", { "data-card": "sample" },
    make("h3", { text: say("card_sample", { row: samples.row[i], vine: samples.vine[i] ?? "–" }) }),
    facts(
      [say("weighed"), weight(samples.vine_weight_kg[i], 2)],
      [say("neighbours"), loo],
      [say("caution"), samples.outlier[i] ? say("card_odd") : "–"],
      [say("left_out"), samples.used[i] ? "–" : whyNot(i)],
      [say("note"), samples.note[i] || "–"],
    ));
}

function rowCard(row) {
  const lines = runsOf(row).map((run) => [
    `${run.first}–${run.last}`, bandsOf(run.zone), budCount(run.buds), run.zone, number(run.vines)]);
  return make("section", { "data-card": "row" },
    make("h3", { text: say("card_row", { row: told.rows[row] }) }),
    make("p", { class: "quiet", text: say("way_from_1", { way: rowWay(row) }) }),
    table(say("row_list"), ["vines", "tape_head", "buds_per_vine", "zone", "counted"].map((key) => say(key)), lines));
}

// Stretches of a row with one number, in the order of the vines.
function runsOf(row) {
  const { columns } = told;
  const out = [];
  for (let i = 0; i < shape.count; i += 1) {
    if (columns.panel_row[i] !== row) continue;
    const before = out[out.length - 1];
    const panel = {
      first: columns.panel_first[i], last: columns.panel_last[i], zone: columns.panel_zone[i],
      buds: columns.panel_buds[i] || null, vines: columns.panel_vines[i],
    };
    if (before && before.zone === panel.zone && before.buds === panel.buds) {
      before.last = panel.last;
      before.vines += panel.vines;
    } else out.push(panel);
  }
  return out;
}

// The map in words: what is drawn can also be read, with a keyboard or aloud.
function showTables() {
  put("tables",
    drawer("zones", say("table_zones"), zoneTable),
    drawer("rows", say("table_rows"), rowTable),
    told.samples.row.length ? drawer("samples", say("table_samples"), sampleTable) : null,
    told.replant.length ? drawer("replant", say("table_replant"), replantTable) : null,
    told.next.row.length ? drawer("next", say("table_next"), nextTable) : null,
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
  const figures = {
    buds_per_vine: (zone) => budCount(zone.buds_per_vine),
    buds_total: (zone) => number(zone.buds_total),
    vines: (zone) => number(zone.vines),
    area: (zone) => area(zone.area_ha),
    vine_size: (zone) => weight(zone.vine_size_kg),
    range: (zone) => interval(zone.vine_size_kg, zone.vine_size_se_kg),
    size_per_length: (zone) => weightPerLength(zone.vine_size_kg_m),
    bull_share: (zone) => shareRange(zone, "bull_cane"),
    injury_share: (zone) => shareRange(zone, "injury"),
    recipe: recipeWords,
  };
  const heads = [say("figure"), ...told.zones.map((zone) => `${zone.zone} · ${zoneName(zone)}`)];
  return table(say("table_zones"), heads, Object.entries(figures).map(([key, of]) => [say(key), ...told.zones.map(of)]));
}

function shareRange(zone, name) {
  const [share, low, high] = [zone[`${name}_share`], zone[`${name}_low`], zone[`${name}_high`]];
  if (!known(share)) return "–";
  return known(low) && known(high) ? `${percent(share)} (${number(100 * low)}–${number(100 * high)})` : percent(share);
}

function rowTable() {
  const out = [];
  told.rows.forEach((name, row) => {
    runsOf(row).forEach((run, i) => {
      const go = make("button", { type: "button", class: "link", text: name, "aria-label": say("show_row", { row: name }),
        onclick: () => findRow(name) });
      const named = i ? name : make("span", {}, go, make("span", { class: "quiet way", text: rowWay(row) }));
      out.push([named, `${run.first}–${run.last}`, bandsOf(run.zone), budCount(run.buds), run.zone, number(run.vines)]);
    });
  });
  return table(say("table_rows"), ["row", "vines", "tape_head", "buds_per_vine", "zone", "counted"].map((key) => say(key)), out);
}

function sampleTable() {
  const { samples } = told;
  const remark = (i) => (!samples.used[i] ? whyNot(i) : samples.outlier[i] ? say("card_odd") : "");
  const unit = us() ? "lb" : "kg";
  const bare = (kg) => (known(kg) ? number(us() ? kg / LB : kg, 2) : "–");
  const heads = [say("row"), say("vine"), `${say("weighed")} (${unit})`, `${say("neighbours")} (${unit})`, say("remark"), say("note")];
  return table(say("table_samples"), heads, samples.row.map((row, i) => [
    row, samples.vine[i] ?? "–", bare(samples.vine_weight_kg[i]), bare(samples.loo_kg[i]), remark(i), samples.note[i] || ""]));
}

function replantTable() {
  const heads = ["rows", "missing", "weak_vines", "row_length", "area", "reason"].map((key) => say(key));
  return table(say("table_replant"), heads, told.replant.map((part) => [
    zoneRows(part), number(part.vines_missing), number(part.vines_weak), lengthOf(part.row_length_m), area(part.area_ha),
    word("reason", part.reason || "–")]));
}

function nextTable() {
  const { next } = told;
  return table(say("table_next"), ["stop", "row", "vine"].map((key) => say(key)),
    next.row.map((row, i) => [next.stop[i], row, next.vine[i]]));
}

function aboutText() {
  const said = told.said[speech.language][speech.units];
  const errors = known(told.loo_rmse_kg)
    ? [say("about_errors", { map: weight(told.loo_rmse_kg, 2), mean: weight(told.mean_rmse_kg, 2) })] : [];
  const shared = said.shared.length ? [make("section", {},
    make("h3", { text: say("all_zones") }), ...said.shared.map((text) => make("p", { text })))] : [];
  const zones = said.advice.map((entry) => make("section", {},
    make("h3", { text: say("zone_n", { zone: entry.zone }) }), ...entry.lines.map((text) => make("p", { text }))));
  const remarks = said.remarks.length ? [make("h3", { text: say("remarks") }),
    make("ul", {}, ...said.remarks.map((text) => make("li", { text })))] : [];
  const notes = said.notes.length ? [make("section", {},
    make("h3", { text: say("whole_block") }), ...said.notes.map((text) => make("p", { text })))] : [];
  const list = make("div", {}, ...errors.map((text) => make("p", { text })), make("p", { text: say("about_size") }),
    make("p", { text: say("about_interval") }), ...notes, ...shared, ...zones, ...remarks);
  return list;
}
