// Drawing on a canvas: a view turns places into points of the picture; the same code draws screen and paper.
class View {
  // scale: points per unit of the Web-Mercator square; left, top: where the origin falls; box: what is drawn; frame: what is seen of it.
  constructor(context, scale, left, top, box, density, latitude, frame = box) {
    Object.assign(this, { context, scale, left, top, box, density, frame });
    this.pointsPerMetre = scale / (2 * Math.PI * 6378137 * Math.cos((latitude * Math.PI) / 180));
  }

  across(place) {
    return place * this.scale + this.left;
  }

  down(place) {
    return place * this.scale + this.top;
  }

  sees(x, y, margin = 0) {
    const [west, north, east, south] = this.box;
    return x >= west - margin && x <= east + margin && y >= north - margin && y <= south + margin;
  }

  trace(path, line, close) {
    for (let i = 0; i < line.length; i += 2) {
      const x = this.across(line[i]);
      const y = this.down(line[i + 1]);
      if (i) path.lineTo(x, y);
      else path.moveTo(x, y);
    }
    if (close) path.closePath();
  }

  // The smallest upright box around rings, in points.
  boxOf(rings) {
    const [west, north, east, south] = boundsOf(rings);
    return [this.across(west), this.down(north), this.across(east), this.down(south)];
  }

  outline(rings) {
    const path = new Path2D();
    for (const ring of rings) this.trace(path, ring, true);
    return path;
  }

  stroke(path, color, width, dash = []) {
    const { context } = this;
    context.strokeStyle = color;
    context.lineWidth = width;
    context.setLineDash(dash);
    context.stroke(path);
    context.setLineDash([]);
  }

  text(words, x, y, { font, color, halo = null, align = "center", baseline = "middle" }) {
    const { context } = this;
    Object.assign(context, { font, textAlign: align, textBaseline: baseline, lineJoin: "round" });
    if (halo) {
      context.strokeStyle = halo;
      context.lineWidth = 3.2;
      context.strokeText(words, x, y);
    }
    context.fillStyle = color;
    context.fillText(words, x, y);
  }
}

function mix(ramp, share) {
  const place = Math.min(Math.max(share, 0), 1) * (ramp.length - 1);
  const index = Math.min(Math.floor(place), ramp.length - 2);
  const low = channels(ramp[index]);
  const high = channels(ramp[index + 1]);
  return low.map((value, i) => Math.round(value + (high[i] - value) * (place - index)));
}

const channels = (color) => [1, 3, 5].map((start) => parseInt(color.slice(start, start + 2), 16));
const css = ([red, green, blue]) => `rgb(${red},${green},${blue})`;

// A zone's pattern as a tile. Sizes are chosen so that the patterns stay apart at arm's length on paper.
function patternTile(look, style, density) {
  const side = 12;
  const tile = document.createElement("canvas");
  tile.width = tile.height = Math.round(side * density);
  const pen = tile.getContext("2d");
  pen.scale(tile.width / side, tile.height / side);
  pen.fillStyle = look.fills[style];
  pen.fillRect(0, 0, side, side);
  const kind = look.patterns[style];
  pen.strokeStyle = pen.fillStyle = look.pattern_inks[style];
  pen.globalAlpha = kind === "dots" ? 0.6 : kind === "hatch" ? 0.5 : 0.42;
  pen.lineWidth = 1.1;
  if (kind === "dots") {
    for (const [x, y] of [[3, 3], [9, 9]]) {
      pen.beginPath();
      pen.arc(x, y, 1, 0, 7);
      pen.fill();
    }
  }
  const slopes = { lines: [1], hatch: [1, -1] }[kind] || [];
  for (const slope of slopes) {
    for (const shift of [-side, 0, side]) {
      pen.beginPath();
      pen.moveTo(shift - 1, slope > 0 ? side + 1 : -1);
      pen.lineTo(shift + side + 1, slope > 0 ? -1 : side + 1);
      pen.stroke();
    }
  }
  return tile;
}

function zonePattern(view, look, style) {
  const tile = patternTile(look, style, view.density);
  const pattern = view.context.createPattern(tile, "repeat");
  pattern.setTransform(new DOMMatrix().scale(12 / tile.width, 12 / tile.height));
  return pattern;
}

function fillZone(view, look, rings, style) {
  const { context } = view;
  const path = view.outline(rings);
  context.fillStyle = zonePattern(view, look, style);
  context.fill(path, "evenodd");
  return path;
}

// A number on a small plate of paper, with the bands of tape under it and a word when there is room.
// Each takes the first place of `plateChoices` that is free: of the boxes to `avoid` too where all that must be there find room
// so, if need be all of them smaller, else only those that find no such place stand on one; one that must be there and finds none takes its smallest.
function drawPlates(view, look, asked, avoid) {
  const smaller = (share) => asked.map((plate) => ({ ...plate, size: Math.round(plate.size * share) }));
  const clear = [1, 0.8, 0.65].reduce((found, share) => found || placePlates(view, look, smaller(share), avoid), null);
  const found = clear || placePlates(view, look, smaller(0.8), avoid, "soft") || placePlates(view, look, asked, [], "force");
  found.forEach((one) => drawPlate(view, look, one));
}

function placePlates(view, look, asked, avoid, how = "") {
  const placed = [];
  for (const one of asked) {
    const taken = placed.map(({ spot }) => spot);
    const found = freePlate(view, look, [...avoid, ...taken], one) || (how === "soft" && one.must ? freePlate(view, look, taken, one) : null);
    const free = found || (how === "force" && one.must ? plates(view, look, one).at(-1) : null);
    if (free) placed.push(free);
    else if (one.must) return null;
  }
  return placed;
}

const freePlate = (view, look, taken, asked) =>
  plates(view, look, asked).find(({ spot }) => !taken.some((other) => overlap(other, spot)));

const overlap = (one, other) => one[0] < other[2] && one[2] > other[0] && one[1] < other[3] && one[3] > other[1];

function plates(view, look, { x, y, big, small, bands, must, size, room = 0 }) {
  return plateChoices(size, small, must ? room : 0).map(([share, words, dx, dy]) =>
    measurePlate(view, look, { x: x + dx, y: y + dy, big, small: words, bands, size: Math.round(size * share) }));
}

// Sizes, words and shifts to try: whole, then without the word, moved within `room`, and smaller.
function plateChoices(size, small, room) {
  const whole = [[1, small, 0, 0], [1, "", 0, 0]];
  if (!room) return whole;
  const step = Math.min(room, size * 2);
  const shifts = [[0, 1], [0, -1], [1, 0], [-1, 0], [1, 1], [-1, 1], [1, -1], [-1, -1]];
  const moved = (share) => shifts.map(([dx, dy]) => [share, "", dx * step, dy * step]);
  return [...whole, ...moved(1), ...moved(0.75), [0.75, "", 0, 0]];
}

function measurePlate(view, look, { x, y, big, small, bands, size }) {
  const { context } = view;
  context.font = `700 ${size}px ${look.serif}`;
  const wide = context.measureText(big).width;
  const print = Math.max(10, Math.round(size * 0.4));
  context.font = `600 ${print}px ${look.sans}`;
  const wordWide = small ? context.measureText(small).width : 0;
  const width = Math.max(wide, wordWide, bands * 8) + 14;
  const height = size + (small ? print * 1.25 : 0) + (bands ? 11 : 0) + 8;
  return { x, big, small, bands, size, print, spot: [x - width / 2, y - height / 2, x + width / 2, y + height / 2] };
}

function drawPlate(view, look, { x, big, small, bands, size, print, spot }) {
  const { context } = view;
  const box = [spot[0], spot[1], spot[2] - spot[0], spot[3] - spot[1]];
  context.fillStyle = look.paper;
  context.globalAlpha = 0.94;
  context.fillRect(...box);
  context.globalAlpha = 1;
  context.strokeStyle = look.ink;
  context.lineWidth = 1;
  context.strokeRect(...box);
  let top = spot[1] + 4;
  view.text(big, x, top + size * 0.52, { font: `700 ${size}px ${look.serif}`, color: look.ink });
  top += size;
  if (small) {
    view.text(small, x, top + print * 0.55, { font: `600 ${print}px ${look.sans}`, color: look.ink });
    top += print * 1.25;
  }
  drawBands(view, look, x, top + 5, bands);
}

function drawBands(view, look, x, y, bands) {
  view.context.fillStyle = look.ink;
  for (let band = 0; band < bands; band += 1) {
    view.context.fillRect(x - bands * 4 + band * 8 + 1.5, y - 4, 5, 8);
  }
}

// A picture whose pixels are an evenly turned grid of the ground.
function drawGrid(view, tile, corners) {
  const { context } = view;
  const [origin, right, below] = corners.map(([across, down]) => [view.across(across), view.down(down)]);
  context.save();
  context.transform(
    (right[0] - origin[0]) / tile.width, (right[1] - origin[1]) / tile.width,
    (below[0] - origin[0]) / tile.height, (below[1] - origin[1]) / tile.height, origin[0], origin[1]);
  context.imageSmoothingEnabled = true;
  context.drawImage(tile, 0, 0);
  context.restore();
}

function gridTile(bytes, width, height, ramp) {
  const tile = document.createElement("canvas");
  Object.assign(tile, { width, height });
  const pen = tile.getContext("2d");
  const picture = pen.createImageData(width, height);
  const colors = Array.from({ length: 256 }, (_, i) => mix(ramp, (i - 1) / 254));
  for (let i = 0; i < bytes.length; i += 1) {
    if (!bytes[i]) continue;
    picture.data.set(colors[bytes[i]], 4 * i);
    picture.data[4 * i + 3] = 255;
  }
  pen.putImageData(picture, 0, 0);
  return tile;
}

// A round length not longer than the given one: 1, 2 or 5 times a power of ten.
function roundLength(longest) {
  const power = 10 ** Math.floor(Math.log10(longest));
  return [5, 2, 1].map((n) => n * power).find((n) => n <= longest);
}

function scaleBar(pointsPerMetre, widest) {
  const [unit, , sign] = unitOf("m");
  const length = roundLength(widest / pointsPerMetre / unit);
  return { points: length * unit * pointsPerMetre, words: `${number(length)} ${sign}` };
}

function drawScaleAndNorth(view, look, width, height) {
  const bar = scaleBar(view.pointsPerMetre, 140);
  const path = new Path2D();
  path.moveTo(14, height - 22);
  path.lineTo(14, height - 14);
  path.lineTo(14 + bar.points, height - 14);
  path.lineTo(14 + bar.points, height - 22);
  view.stroke(path, look.ink, 1.6);
  const small = { font: `600 12px ${look.sans}`, color: look.ink, halo: look.paper };
  view.text(bar.words, 14 + bar.points / 2, height - 26, small);
  const arrow = new Path2D("M0 -17 L6 13 L0 7 L-6 13 Z");
  view.context.save();
  view.context.translate(width - 24, 32);
  view.context.fillStyle = look.ink;
  view.context.fill(arrow);
  view.context.restore();
  view.text(say("north_letter"), width - 24, 9, small);
}
