// The estate: every block with its numbers, leading to each block's own pages.
const LAYERS = [["zones", true], ["replant", true], ["vines", true], ["block", true]];
const on = new Set(LAYERS.map(([name]) => name));
const chosen = { block: null };
// How the list of blocks is put in order: by a key that each block has, the least first (1) or the most first (-1).
const ORDERS = { file: 0, size_kg: 1, worth: -1, replant: -1 };
const GROUPS = ["farm", "variety"];
const LISTED_AT_ONCE = 100;
const MOST_OFFERED = 500; // names offered while one types; of more blocks the list itself shows which have these letters
const MOST_NAMED = 200;
const SMALLEST_NAMED = 16; // points across on the screen, below which a block has no plate
const list = { order: "file", group: "", wanted: "", listed: LISTED_AT_ONCE };
let data;
let shape;
let ground;

function readShapes() {
  const blocks = polygons(data, "block");
  shape = {
    blocks,
    boxes: data.blocks.map((_, i) => boundsOf(blocks[i] || [])),
    zones: polygons(data, "zones"),
    replant: polygons(data, "replant"),
    labels: data.labels.map((label) => ({ ...label, place: placeOf(data, label.lon, label.lat) })),
    vines: vines(data, "vines"),
  };
  const corners = shape.boxes.flatMap(([west, north, east, south]) => [west, north, east, south]);
  shape.box = boundsOf([Float64Array.from(corners)]);
  shape.zonesOf = data.blocks.map(() => []);
  data.zones.forEach((zone, i) => shape.zonesOf[zone.block].push(i));
  shape.labelsOf = data.blocks.map(() => []);
  shape.labels.forEach((label) => shape.labelsOf[label.block].push(label));
}


function seesBlock(view, block) {
  const [west, north, east, south] = shape.boxes[block];
  return view.across(east) >= view.box[0] && view.across(west) <= view.box[2]
    && view.down(south) >= view.box[1] && view.down(north) <= view.box[3];
}

function paint(view) {
  const { look } = data;
  const outlines = { thick: new Path2D(), thin: new Path2D() }; // two strokes for all blocks instead of one for each
  data.blocks.forEach((block, i) => {
    if (!seesBlock(view, i)) return;
    const [west, , east] = shape.boxes[i];
    const wide = (east - west) * view.scale;
    if (on.has("zones")) paintZones(view, look, i, wide);
    if (on.has("vines")) paintVines(view, look, block);
    for (const ring of shape.blocks[i] || []) view.trace(wide > 60 ? outlines.thick : outlines.thin, ring, true);
  });
  if (on.has("block")) {
    view.stroke(outlines.thick, look.ink, 1.8);
    view.stroke(outlines.thin, look.ink, 1);
  }
  if (on.has("replant")) paintReplant(view, look);
  if (chosen.block !== null) {
    const path = view.outline(shape.blocks[chosen.block]);
    view.stroke(path, look.paper, 8);
    view.stroke(path, look.alarm, 4);
  }
  if (on.has("zones")) paintNumbers(view, look);
  if (ground) drawMe(view, look, ground.me);
}

function paintZones(view, look, block, wide) {
  for (const index of shape.zonesOf[block]) {
    const rings = shape.zones[index] || [];
    const style = data.zones[index].style;
    if (wide > 90) {
      const path = fillZone(view, look, rings, style);
      view.stroke(path, look.ink, 0.9);
    } else {
      view.context.fillStyle = look.fills[style];
      view.context.fill(view.outline(rings), "evenodd");
    }
  }
}

function paintVines(view, look, block) {
  const near = block.vine_spacing_m * view.pointsPerMetre;
  if (near < 2.5) return;
  const { points, starts } = shape.vines;
  const status = data.columns.vine_status;
  const size = Math.min(Math.max(near * 0.28, 0.8), 5);
  const [bearing, gone] = [new Path2D(), new Path2D()];
  for (let i = starts[block.first_row]; i < starts[block.first_row + block.rows]; i += 1) {
    const [x, y] = [view.across(points[2 * i]), view.down(points[2 * i + 1])];
    if (!view.sees(x, y, 6)) continue;
    if (status[i]) cross(gone, x, y, size);
    else bearing.rect(x - size / 2, y - size / 2, size, size);
  }
  view.context.fillStyle = look.ink;
  view.context.fill(bearing);
  view.stroke(gone, look.paper, 3);
  view.stroke(gone, look.alarm, 1.3);
}

function paintReplant(view, look) {
  for (const rings of shape.replant) {
    if (!rings) continue;
    const path = view.outline(rings);
    view.stroke(path, look.paper, 3.4);
    view.stroke(path, look.alarm, 1.8, [5, 3]);
  }
}

// Where the map's buttons stand on the screen, so that no plate goes under them.
function toolsBox(view) {
  const tools = document.getElementById("tools").getBoundingClientRect();
  const held = ground.map.getContainer().getBoundingClientRect();
  const [left, top] = [view.frame[0] + tools.left - held.left, view.frame[1] + tools.top - held.top];
  return [left, top, left + tools.width, top + tools.height];
}

function paintNumbers(view, look) {
  const taken = ground ? [toolsBox(view)] : [];
  const seen = [...data.blocks.keys()].filter((i) => seesBlock(view, i));
  const boxes = new Squares(48);
  seen.forEach((i) => boxes.add(onScreen(view, shape.boxes[i]), i));
  seen.forEach((i) => {
    const block = data.blocks[i];
    const [west, north, east, south] = shape.boxes[i];
    const [wide, tall] = [(east - west) * view.scale, (south - north) * view.scale];
    const roomy = Math.min(wide, tall) > 170 && block.headline !== "stop";
    const placed = (roomy && zonePlates(view, look, taken, i)) || [];
    placed.forEach((plate) => drawPlate(view, look, plate));
    taken.push(...placed.map(({ spot }) => spot));
    const named = seen.length <= MOST_NAMED || Math.max(wide, tall) >= SMALLEST_NAMED;
    if (!placed.length && named) blockPlate(view, look, taken, block, i, boxes);
  });
}

// A plate for each of a block's zones; null where they would cover each other.
function zonePlates(view, look, taken, block) {
  const placed = [];
  for (const label of shape.labelsOf[block]) {
    const zone = data.zones[label.zone];
    const plate = freePlate(view, look, [...taken, ...placed.map(({ spot }) => spot)], {
      x: view.across(label.place[0]), y: view.down(label.place[1]), size: 26, big: said().blocks[block].words_of_zones[label.zone - shape.zonesOf[block][0]],
      small: said().blocks[block].kinds[label.zone - shape.zonesOf[block][0]], bands: zone.bands });
    if (!plate) return null;
    placed.push(plate);
  }
  return placed;
}

const within = (value, least, most) => Math.max(least, Math.min(value, most));

// A block's numbers: inside it where they hide little of it, else beside it, clear of the map's edge, other blocks and plates.
function blockPlate(view, look, taken, block, i, boxes) {
  const [west, north, east, south] = onScreen(view, shape.boxes[i]);
  const [left, top, right, bottom] = view.frame;
  const name = shortName(block.name);
  const { numbers } = said().blocks[i];
  const big = numbers.join(" · ");
  for (const [size, small] of [[19, name], [14, name], [14, ""]]) {
    const plate = measurePlate(view, look, { x: 0, y: 0, big, small, bands: 0, size });
    const [halfWide, halfTall] = [plate.spot[2], plate.spot[3]];
    const x = within((west + east) / 2, left + halfWide + 2, right - halfWide - 2);
    const y = within((north + south) / 2, top + halfTall + 2, bottom - halfTall - 2);
    const places = [[x, south + halfTall + 4], [x, north - halfTall - 4], [east + halfWide + 4, y], [west - halfWide - 4, y]];
    const most = numbers.length === 1 ? 0.48 : 0.3; // a block of one number has nothing to hide
    if (halfWide < most * (east - west) && halfTall < most * (south - north)) places.unshift([x, y]);
    const near = [west - 5, north - 5, east + 5, south + 5];
    for (const [across, down] of places) {
      const spot = [across - halfWide, down - halfTall, across + halfWide, down + halfTall];
      if (!holds(view.frame, spot) || !overlap(near, spot) || taken.some((other) => overlap(other, spot)) || boxes.meets(spot, i)) continue;
      taken.push(spot);
      drawPlate(view, look, { ...plate, x: across, spot });
      return;
    }
  }
}

// Boxes by the squares of the screen that they touch, so that each is held against those near it alone.
class Squares {
  constructor(size) {
    this.size = size;
    this.held = new Map();
  }

  * keys([west, north, east, south]) {
    const [left, top, right, bottom] = [west, north, east, south].map((at) => Math.floor(at / this.size));
    for (let x = left; x <= right; x += 1) for (let y = top; y <= bottom; y += 1) yield `${x} ${y}`;
  }

  add(box, owner) {
    for (const key of this.keys(box)) {
      const held = this.held.get(key);
      if (held) held.push([owner, box]);
      else this.held.set(key, [[owner, box]]);
    }
  }

  // Does a box meet one of another owner?
  meets(box, owner) {
    for (const key of this.keys(box)) {
      if ((this.held.get(key) || []).some(([other, held]) => other !== owner && overlap(held, box))) return true;
    }
    return false;
  }
}

const holds = (whole, part) => part[0] >= whole[0] && part[1] >= whole[1] && part[2] <= whole[2] && part[3] <= whole[3];
const onScreen = (view, [west, north, east, south]) => [view.across(west), view.down(north), view.across(east), view.down(south)];

function showPage() {
  document.documentElement.lang = speech.language;
  document.title = say("estate_title");
  put("settings", ...pageChoices(), printButton());
  put("name", say("estate_title"));
  const vineCount = data.blocks.reduce((sum, block) => sum + block.vines, 0);
  const land = data.blocks.reduce((sum, block) => sum + (block.area_ha || 0), 0);
  put("facts", say("estate_facts", { blocks: number(data.blocks.length), vines: number(vineCount), area: area(land) }));
  const { stop, remarks, extremes } = said();
  const count = (headline) => data.blocks.filter((block) => block.headline === headline).length;
  put("verdict", stopLine(stop), say("estate_verdict", { zoned: number(count("zone")), one: number(count("one")) }),
    ...["given", "now"].map((less) => (count(less) ? ` ${say(`estate_verdict_${less}`, { [less]: number(count(less)) })}` : null)));
  put("why", ...remarks.map((text) => make("p", { text })),
    ...extremes.map(([head, names]) => make("p", {}, make("strong", { text: `${capital(head)}: ` }), names)));
  put("zones", ...orderTools(), make("div", { id: "blocks" }));
  relist({});
  const part = (id) => document.getElementById(id);
  part("zones").before(part("search"), part("card")); // above a list that may be long
  showSearch();
  showLayers();
  showCard();
  put("tables");
  showCautions();
  groundTools(ground, say("whole_estate"));
  ground.redraw();
  showScale(ground);
}

// Positions of the blocks that have the letters wanted, in the order chosen; one without the key comes last, ties stay as in
// the file. Groups follow each other by name, blocks of none last.
function orderedBlocks() {
  const sign = ORDERS[list.order];
  const key = (i) => data.blocks[i][list.order] ?? sign * Infinity;
  const wanted = list.wanted.toLowerCase();
  const held = ({ name, farm, variety }) => !wanted || [name, farm, variety].some((text) => text.toLowerCase().includes(wanted));
  const positions = [...data.blocks.keys()].filter((i) => held(data.blocks[i]));
  if (sign) positions.sort((a, b) => (key(a) === key(b) ? a - b : sign * (key(a) - key(b))));
  if (!list.group) return positions;
  const groups = new Map();
  for (const i of positions) {
    const name = data.blocks[i][list.group];
    if (!groups.has(name)) groups.set(name, []);
    groups.get(name).push(i);
  }
  const letters = new Intl.Collator(speech.language, { numeric: true });
  const names = [...groups.keys()].sort((a, b) => (a === "") - (b === "") || letters.compare(a, b));
  return names.flatMap((name) => groups.get(name));
}

function orderTools() {
  if (data.blocks.length < 2) return [];
  const groups = GROUPS.filter((name) => new Set(data.blocks.map((block) => block[name])).size > 1);
  return [
    pickFrom("order", say("sort_by"), Object.keys(ORDERS).map((name) => [name, say(`sort_${name}`)])),
    groups.length > 0 && pickFrom("group", say("group_by"), [["", say("group_nothing")], ...groups.map((name) => [name, say(`group_${name}`)])]),
  ];
}

const pickFrom = (name, words, entries) => make("p", {}, make("label", { for: name, text: `${words} ` }),
  make("select", { id: name, onchange: (event) => relist({ [name]: event.target.value }) },
    ...entries.map(([value, text]) => make("option", { value, selected: value === list[name], text }))));

// Lists the blocks as they are now asked for; returns how many there are.
function relist(changed) {
  Object.assign(list, { listed: LISTED_AT_ONCE }, changed);
  const positions = orderedBlocks();
  const further = positions.length - list.listed;
  const more = further > 0 && make("button", { type: "button", id: "more", onclick: () => relist({ listed: list.listed + LISTED_AT_ONCE }),
    text: say("more_blocks", { count: number(Math.min(further, LISTED_AT_ONCE)) }) });
  put("blocks", blockTable(positions.slice(0, list.listed)), more);
  return positions.length;
}

// The line that begins a group of blocks.
const groupLine = (name) => make("tr", { class: "group" }, make("th", { colspan: 2, scope: "rowgroup", text: name || say("group_none") }));

// A line per block, and under it, across both columns, what the block is and the ways to its pages.
function blockTable(positions) {
  const heads = ["block", "buds_per_vine"].map((key) => say(key));
  const whole = table(say("table_blocks"), heads, positions.map((i) => [
    make("button", { type: "button", class: "link", text: data.blocks[i].name, onclick: () => choose(i, true) }),
    make("b", { class: "big", text: said().blocks[i].numbers.join(" · ") })]));
  let group = null;
  [...whole.querySelector("tbody").children].forEach((line, place) => {
    const i = positions[place];
    const block = data.blocks[i];
    if (list.group && block[list.group] !== group) {
      group = block[list.group];
      line.before(groupLine(group));
    }
    line.after(make("tr", { class: "under" }, make("td", { colspan: 2 },
      make("p", { class: "quiet", text: capital(said().blocks[i].words) }), linkList(block.links, block.name))));
  });
  return whole;
}

function choose(index, move) {
  chosen.block = index;
  showCard();
  if (move) ground.show(shape.boxes[index]);
  ground.redraw();
}

function showCard() {
  const card = document.getElementById("card");
  card.hidden = chosen.block === null;
  if (card.hidden) return card.replaceChildren();
  const block = data.blocks[chosen.block];
  const shut = make("button", { type: "button", text: "×", class: "shut", "aria-label": say("close"), onclick: () => choose(null, false) });
  const words = said().blocks[chosen.block];
  const zones = words.zones.map((text, i) => make("p", { class: "numeral" },
    make("b", { text: words.words_of_zones[i] }), make("span", { text })));
  card.replaceChildren(...[shut, make("h3", { text: block.name }), words.stop && make("p", { class: "stop", text: words.stop }),
    words.verdict && make("p", { text: words.verdict }), ...zones, linkList(block.links, block.name)].filter(Boolean));
}

function showSearch() {
  const field = make("input", { id: "row", type: "search", autocomplete: "off", list: "block-names", "aria-describedby": "row-found",
    value: list.wanted, oninput: () => {
      const count = relist({ wanted: field.value.trim() });
      found.textContent = list.wanted ? say("blocks_found", { count: number(count) }) : "";
    } });
  const found = make("p", { id: "row-found", class: "quiet", "aria-live": "polite" });
  const offered = data.blocks.length > MOST_OFFERED ? [] : data.blocks;
  const names = make("datalist", { id: "block-names" }, ...offered.map((block) => make("option", { value: block.name })));
  const form = make("form", { onsubmit: (event) => {
    event.preventDefault();
    const wanted = field.value.trim().toLowerCase();
    const exact = data.blocks.findIndex((block) => block.name.trim().toLowerCase() === wanted);
    const among = exact < 0 && wanted ? orderedBlocks() : [];
    const index = among.length === 1 ? among[0] : exact;
    if (index < 0 && among.length) return;
    found.textContent = index < 0 ? say("block_not_found", { block: field.value }) : "";
    if (index >= 0) choose(index, true);
  } }, make("label", { for: "row", text: say("find_block") }), field, make("button", { type: "submit", text: say("find") }), names);
  put("search", form, found);
}

function showLayers() {
  const entry = (name) => make("li", {}, make("label", {}, make("input", {
    type: "checkbox", "data-layer": name, checked: on.has(name),
    onchange: (event) => {
      if (event.target.checked) on.add(name);
      else on.delete(name);
      ground.redraw();
    },
  }), make("span", { text: say(`layer_${name}`) })));
  const most = Math.max(...data.blocks.map((block) => block.zones));
  const key = most < 2 ? [] : Array.from({ length: most }, (_, i) =>
    make("li", { class: "key" }, zoneSwatch(i + 1, 34, 22), make("span", { text: say("zone_n", { zone: i + 1 }) }), tapeMarks(i + 1)));
  put("layers", make("legend", { text: say("layers") }), make("ul", {}, ...LAYERS.map(([name]) => entry(name))),
    make("ul", {}, ...key, make("li", { class: "key" }, zoneSwatch(0, 34, 22), make("span", { text: said().whole }))));
}

// Is a place inside rings (even-odd)?
function inside(rings, [x, y]) {
  let odd = false;
  for (const ring of rings) {
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
      const crosses = ring[i + 1] > y !== ring[j + 1] > y;
      if (crosses && x < ((ring[j] - ring[i]) * (y - ring[i + 1])) / (ring[j + 1] - ring[i + 1]) + ring[i]) odd = !odd;
    }
  }
  return odd;
}

function pick(place) {
  const index = shape.blocks.findIndex((rings, i) => {
    const [west, north, east, south] = shape.boxes[i];
    return place[0] >= west && place[0] <= east && place[1] >= north && place[1] <= south && inside(rings, place);
  });
  choose(index < 0 ? null : index, false);
}
