// The map of one block: what is drawn.
const chosen = { panel: null, row: null, sample: null };
let data;
let shape;
let ground;

function readShapes() {
  const { columns } = data;
  shape = {
    block: polygons(data, "block").flat(),
    zones: polygons(data, "zones"),
    replant: polygons(data, "replant"),
    anyway: polygons(data, "anyway"),
    rows: lines(data, "rows"),
    panels: places(data, "panel_places"),
    count: columns.panel_row.length,
    vines: vines(data, "vines"),
    samples: places(data, "samples"),
    flags: places(data, "flags"),
    next: places(data, "next"),
    labels: data.labels.map((label) => ({ ...label, place: placeOf(data, label.lon, label.lat) })),
    grid: data.grid && {
      corners: data.grid.corners.map(([lon, lat]) => placeOf(data, lon, lat)),
      size: gridTile(columns.grid_size, data.grid.width, data.grid.height, data.look.size_ramp),
      sure: gridTile(columns.grid_error, data.grid.width, data.grid.height, data.look.error_ramp),
    },
  };
  shape.box = boundsOf(shape.block);
}

// The colours of the ground lie below, then the layers in their order, numbers above all.
function paint(view) {
  const { look } = data;
  const visible = LAYERS.filter(({ name }) => shown(name));
  visible.filter((layer) => layer.ground).forEach((layer) => layer.paint(view, look));
  visible.filter((layer) => !layer.ground).forEach((layer) => layer.paint(view, look));
  paintChosen(view, look);
  visible.filter((layer) => layer.over).forEach((layer) => layer.over(view, look));
  if (ground) drawMe(view, look, ground.me);
}

function paintSurface(view, name) {
  const { context } = view;
  context.save();
  context.clip(view.outline(shape.block), "evenodd");
  drawGrid(view, shape.grid[name], shape.grid.corners);
  context.restore();
}

// Each panel as a strip as wide as the row, in the colour of its value. A value of 0 is missing.
function strips(view, values, ramp) {
  const { context } = view;
  const bins = 32;
  const [low, high] = reach(values);
  const paths = Array.from({ length: bins + 1 }, () => new Path2D());
  for (let i = 0; i < shape.count; i += 1) {
    if (!values[i]) continue;
    const share = high > low ? (values[i] - low) / (high - low) : 0.5;
    panelPath(view, paths[Math.round(share * bins)], i);
  }
  context.lineWidth = Math.max(data.row_spacing_m * view.pointsPerMetre * 0.94, 1);
  context.lineCap = "butt";
  paths.forEach((path, bin) => {
    context.strokeStyle = css(mix(ramp, bin / bins));
    context.stroke(path);
  });
}

function reach(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    if (!value) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}

function panelPath(view, path, i) {
  const { panels } = shape;
  path.moveTo(view.across(panels[4 * i]), view.down(panels[4 * i + 1]));
  path.lineTo(view.across(panels[4 * i + 2]), view.down(panels[4 * i + 3]));
}

function paintZones(view, look) {
  const colored = groundLayers.some(({ name }) => shown(name));
  data.zones.forEach((zone, i) => {
    const rings = shape.zones[i] || [];
    const path = colored ? view.outline(rings) : fillZone(view, look, rings, zone.style);
    view.stroke(path, look.paper, 4);
    view.stroke(path, look.ink, 1.8);
  });
}

// Zones for who wants zones anyway, where one number would do: dashed, with their numbers.
function paintAnyway(view, look) {
  shape.anyway.forEach((rings) => {
    const path = view.outline(rings || []);
    view.stroke(path, look.paper, 4);
    view.stroke(path, look.ink, 1.6, [8, 4]);
  });
  data.anyway.forEach(({ buds, lon, lat }) => {
    const place = placeOf(data, lon, lat);
    const font = `700 22px ${look.serif}`;
    view.text(number(buds), view.across(place[0]), view.down(place[1]) + 30, { font, color: look.ink, halo: look.paper });
  });
}

function paintReplant(view, look) {
  shape.replant.forEach((rings) => {
    const path = view.outline(rings || []);
    view.context.fillStyle = look.paper;
    view.context.globalAlpha = 0.45;
    view.context.fill(path, "evenodd");
    view.context.globalAlpha = 1;
    view.stroke(path, look.paper, 4.5);
    view.stroke(path, look.alarm, 2.4, [7, 4]);
  });
}

function paintRows(view, look) {
  const spacing = data.row_spacing_m * view.pointsPerMetre;
  const path = new Path2D();
  const step = spacing > 2 ? 1 : Math.ceil(2 / spacing);
  shape.rows.forEach((line, i) => {
    if (i % step === 0) view.trace(path, line, false);
  });
  if (spacing > 7) view.stroke(path, "rgba(255,253,247,0.6)", 2.2);
  view.stroke(path, look.ink, spacing > 7 ? 0.8 : 0.35);
  nameRows(view, look);
}

// Row names as painted on the posts, at the end of vine 1; every second, fifth, tenth ... where there is no room for all.
function nameRows(view, look) {
  const font = `600 12px ${look.sans}`;
  view.context.font = font;
  const names = shape.rows.map((line, i) => rowName(view, line, i)).filter(({ x, y }) => view.sees(x, y, 20));
  const touch = (one, other) => Math.abs(one.x - other.x) < (one.wide + other.wide) / 2 + 6 && Math.abs(one.y - other.y) < 16;
  const crowded = (step) => names.filter((name, i) => names[i + step] && touch(name, names[i + step])).length > names.length / 20;
  const step = [1, 2, 5, 10, 20, 50].find((n) => !crowded(n)) || 100;
  const wanted = [...names.filter(({ row }) => row === chosen.row), ...names.filter(({ row }) => row % step === 0)];
  const written = [];
  for (const name of wanted) {
    if (written.some((other) => touch(other, name))) continue;
    written.push(name);
    view.text(name.text, name.x, name.y, { font, color: look.ink, halo: look.paper });
  }
}

// A row's name and the middle of where it is written: before vine 1, in line with the row.
function rowName(view, line, row) {
  const text = data.rows[row].length > 7 ? `${data.rows[row].slice(0, 6)}…` : data.rows[row];
  const wide = view.context.measureText(text).width;
  const [x, y] = [view.across(line[0]), view.down(line[1])];
  const lean = Math.atan2(view.down(line[3]) - y, view.across(line[2]) - x);
  const off = 7 + (wide / 2) * Math.abs(Math.cos(lean)) + 6 * Math.abs(Math.sin(lean));
  return { row, text, wide, x: x - off * Math.cos(lean), y: y - off * Math.sin(lean) };
}

function paintPanels(view, look) {
  const { panels, count } = shape;
  const { columns } = data;
  const { context } = view;
  if (!count) return;
  const spacing = data.row_spacing_m * view.pointsPerMetre;
  const long = data.panel_m * view.pointsPerMetre;
  const size = Math.min(17, Math.max(9, spacing * 0.72));
  const font = `600 ${size.toFixed(1)}px ${look.sans}`;
  const side = long > 60 ? 3 : long > 40 ? 1.4 : 0.6;
  const written = long > size * 2.4 && spacing > 17;
  const posts = new Path2D();
  for (let i = 0; i < count; i += 1) {
    const [ax, ay] = [view.across(panels[4 * i]), view.down(panels[4 * i + 1])];
    const [bx, by] = [view.across(panels[4 * i + 2]), view.down(panels[4 * i + 3])];
    if (!view.sees((ax + bx) / 2, (ay + by) / 2, long)) continue;
    posts.rect(ax - side, ay - side, 2 * side, 2 * side);
    posts.rect(bx - side, by - side, 2 * side, 2 * side);
    if (written && columns.panel_buds[i]) writeBuds(view, look, font, [ax, ay, bx, by], columns.panel_buds[i]);
  }
  context.globalAlpha = long < 24 ? 0.35 : 0.85;
  context.fillStyle = look.ink;
  context.fill(posts);
  context.globalAlpha = 1;
}

function writeBuds(view, look, font, [ax, ay, bx, by], buds) {
  const { context } = view;
  let turn = Math.atan2(by - ay, bx - ax);
  if (turn > Math.PI / 2 + 0.02 || turn <= -Math.PI / 2 + 0.02) turn += Math.PI;
  context.save();
  context.translate((ax + bx) / 2, (ay + by) / 2);
  context.rotate(turn);
  view.text(number(buds), 0, 0, { font, color: look.ink, halo: look.paper });
  context.restore();
}

// Vine positions as signs: a small square bears, a cross is gone, a ring is young, a disc is diseased, a triangle is to renew.
function paintVines(view, look) {
  const { points, starts } = shape.vines;
  const status = data.columns.vine_status;
  const near = data.vine_spacing_m * view.pointsPerMetre;
  const size = Math.min(Math.max(near * 0.3, 1.1), 6);
  const paths = { bearing: new Path2D(), gone: new Path2D(), young: new Path2D(), sick: new Path2D(), renew: new Path2D() };
  for (let i = 0; i < starts[starts.length - 1]; i += 1) {
    const gone = status[i] === 2 || status[i] === 3;
    if (near < (gone ? 0 : status[i] ? 5 : 12)) continue;
    const [x, y] = [view.across(points[2 * i]), view.down(points[2 * i + 1])];
    if (!view.sees(x, y, 8)) continue;
    vineSign(paths, status[i], x, y, size);
  }
  view.context.fillStyle = look.ink;
  view.context.fill(paths.bearing);
  view.context.fill(paths.sick);
  const pen = near > 5 ? 1.6 : 0.6;
  if (near > 3) view.stroke(paths.gone, look.paper, pen + 1.6);
  view.stroke(paths.gone, look.alarm, pen);
  view.stroke(paths.young, look.ink, pen);
  view.stroke(paths.renew, look.ink, pen);
}

function vineSign(paths, status, x, y, size) {
  if (status === 0) paths.bearing.rect(x - 1.3, y - 1.3, 2.6, 2.6);
  else if (status === 2 || status === 3) cross(paths.gone, x, y, size);
  else if (status === 5) triangle(paths.renew, x, y, size);
  else {
    const path = status === 1 ? paths.young : paths.sick;
    path.moveTo(x + size, y);
    path.arc(x, y, size, 0, 7);
  }
}

function triangle(path, x, y, size) {
  path.moveTo(x - size, y - size * 0.7);
  path.lineTo(x + size, y - size * 0.7);
  path.lineTo(x, y + size);
  path.closePath();
}

function paintChosen(view, look) {
  const path = new Path2D();
  if (chosen.row !== null && shape.rows[chosen.row]) view.trace(path, shape.rows[chosen.row], false);
  view.stroke(path, look.paper, 6);
  view.stroke(path, look.alarm, 3);
  if (chosen.panel === null) return;
  const panel = new Path2D();
  panelPath(view, panel, chosen.panel);
  view.stroke(panel, look.paper, 11);
  view.stroke(panel, look.alarm, 6);
}

// Posts with tape: each set of bands on the side of the vines it is for.
function paintFlags(view, look) {
  const detailed = data.row_spacing_m * view.pointsPerMetre > 9;
  const tall = detailed ? 9 : 4;
  for (let i = 0; i < data.flags.row.length; i += 1) {
    const [x, y] = [view.across(shape.flags[2 * i]), view.down(shape.flags[2 * i + 1])];
    if (!view.sees(x, y, 20)) continue;
    const path = new Path2D();
    path.moveTo(x, y + tall);
    path.lineTo(x, y - tall);
    view.stroke(path, look.paper, 5);
    view.stroke(path, look.ink, 2);
    if (!detailed) continue;
    const [right, down] = wayUp(view, data.flags.row[i]);
    paintTape(view, look, [x, y], [-right, -down], data.flags.low_bands[i]);
    paintTape(view, look, [x, y], [right, down], data.flags.high_bands[i]);
  }
}

// The direction of rising vine numbers in a row, of length 1 on the screen.
function wayUp(view, row) {
  const line = shape.rows[data.rows.indexOf(String(row))];
  const [right, down] = [line[line.length - 2] - line[0], line[line.length - 1] - line[1]];
  const long = Math.hypot(right, down) || 1;
  return [right / long, down / long];
}

function paintTape(view, look, [x, y], [right, down], bands) {
  const { context } = view;
  context.save();
  context.translate(x, y);
  context.rotate(Math.atan2(down, right));
  for (let band = 0; band < (bands || 0); band += 1) {
    context.fillStyle = look.paper;
    context.fillRect(4 + band * 5, -6, 4.4, 12);
    context.fillStyle = look.ink;
    context.fillRect(4.9 + band * 5, -5, 2.6, 10);
  }
  context.restore();
}

function paintSamples(view, look) {
  const { samples } = data;
  const largest = Math.max(...samples.vine_weight_kg.filter(known), 0.1);
  const taken = [];
  samples.row.forEach((_, i) => {
    const [x, y] = [view.across(shape.samples[2 * i]), view.down(shape.samples[2 * i + 1])];
    if (!view.sees(x, y, 30)) return;
    const path = new Path2D();
    if (samples.used[i]) path.arc(x, y, 3 + 8 * Math.sqrt(Math.max(samples.vine_weight_kg[i], 0) / largest), 0, 7);
    else cross(path, x, y, 6);
    view.context.fillStyle = look.paper;
    if (samples.used[i]) view.context.fill(path);
    else view.stroke(path, look.paper, 5);
    view.stroke(path, look.ink, 1.8);
    note(view, look, taken, weight(samples.vine_weight_kg[i]), x, y + 18);
  });
}

// Small print beside a sign, left out where it would lie on other small print.
function note(view, look, taken, words, x, y) {
  const spot = [x - 22, y - 8, x + 22, y + 8];
  const hit = (other) => spot[0] < other[2] && spot[2] > other[0] && spot[1] < other[3] && spot[3] > other[1];
  if (taken.some(hit)) return;
  taken.push(spot);
  view.text(words, x, y, { font: `600 11px ${look.sans}`, color: look.ink, halo: look.paper });
}

// Weights far from what their neighbours say: a frame, and whether it is more or less than they say.
function paintOutliers(view, look) {
  data.samples.outlier.forEach((odd, i) => {
    if (!odd) return;
    const [x, y] = [view.across(shape.samples[2 * i]), view.down(shape.samples[2 * i + 1])];
    const path = new Path2D();
    path.rect(x - 13, y - 13, 26, 26);
    view.stroke(path, look.paper, 5);
    view.stroke(path, look.alarm, 2.4);
    const more = (data.samples.vine_weight_kg[i] ?? 0) > (data.samples.loo_kg[i] ?? 0);
    view.text(more ? "▲" : "▼", x, y - 21, { font: `700 13px ${look.sans}`, color: look.alarm, halo: look.paper });
  });
}

function paintNext(view, look) {
  data.next.row.forEach((_, i) => {
    const [x, y] = [view.across(shape.next[2 * i]), view.down(shape.next[2 * i + 1])];
    if (!view.sees(x, y, 20)) return;
    const path = new Path2D();
    for (const [dx, dy] of [[0, -14], [14, 0], [0, 14], [-14, 0]]) path.lineTo(x + dx, y + dy);
    path.closePath();
    view.context.fillStyle = look.paper;
    view.context.fill(path);
    view.stroke(path, look.ink, 1.8);
    view.text(String(data.next.stop[i]), x, y, { font: `700 12px ${look.sans}`, color: look.ink });
  });
}

function paintNumbers(view, look) {
  const avoid = shown("replant") ? shape.replant.filter(Boolean).map((rings) => view.boxOf(rings)) : [];
  const size = view.box[2] - view.box[0] < 620 ? 21 : 32;
  const asked = [];
  for (const label of shape.labels) {
    const [x, y] = [view.across(label.place[0]), view.down(label.place[1])];
    const room = label.radius_m * view.pointsPerMetre;
    if (!view.sees(x, y) || (label.part && room < size * 0.7)) continue;
    const zone = data.zones[label.zone];
    asked.push({
      x,
      y,
      size: label.part ? Math.round(size * 0.7) : size,
      big: said().zones[label.zone].number,
      small: label.part || room < size * 1.6 ? "" : shortName(said().zones[label.zone].name),
      bands: zone.bands,
      must: !label.part,
      room,
    });
  }
  drawPlates(view, look, asked, avoid);
}

// The panel nearest to a place, and how far it is on the ground and on the screen.
function nearestPanel([x, y]) {
  const { panels, count } = shape;
  let best = Infinity;
  let index = null;
  for (let i = 0; i < count; i += 1) {
    const [ax, ay] = [panels[4 * i], panels[4 * i + 1]];
    const [dx, dy] = [panels[4 * i + 2] - ax, panels[4 * i + 3] - ay];
    const long = dx * dx + dy * dy;
    const share = long ? Math.min(Math.max(((x - ax) * dx + (y - ay) * dy) / long, 0), 1) : 0;
    const off = (x - ax - share * dx) ** 2 + (y - ay - share * dy) ** 2;
    if (off < best) [best, index] = [off, i];
  }
  const view = ground.layer.view(null, [0, 0, 0, 0], 1);
  const points = Math.sqrt(best) * view.scale;
  return { index, points, metres: points / view.pointsPerMetre };
}

function nearestSample([x, y]) {
  if (!shown("samples") && !shown("outliers")) return null;
  const scale = 256 * 2 ** ground.map.getZoom();
  let best = 22;
  let index = null;
  data.samples.row.forEach((_, i) => {
    const off = Math.hypot(shape.samples[2 * i] - x, shape.samples[2 * i + 1] - y) * scale;
    if (off < best) [best, index] = [off, i];
  });
  return index;
}

function pick(place) {
  const near = nearestPanel(place);
  const hit = near.index !== null && (near.metres < data.row_spacing_m || near.points < 16);
  Object.assign(chosen, { panel: hit ? near.index : null, row: null, sample: nearestSample(place) });
  showCard();
  ground.redraw();
}
