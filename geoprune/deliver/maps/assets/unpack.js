// Unpacks what geoprune/deliver/maps/packing.py packed.
const COLUMN_TYPES = { u1: Uint8Array, u2: Uint16Array, u4: Uint32Array, i4: Int32Array };

async function unpack() {
  const text = document.getElementById("plan").textContent;
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i += 1) bytes[i] = letters.charCodeAt(i); // twice as fast as Uint8Array.from
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const raw = await new Response(stream).arrayBuffer();
  const length = new DataView(raw).getUint32(0, true);
  const data = JSON.parse(new TextDecoder().decode(new Uint8Array(raw, 4, length)));
  const columns = {};
  for (const [name, type, place, count] of data.columns) {
    columns[name] = new COLUMN_TYPES[type](raw, 4 + length + place, count);
  }
  data.columns = columns;
  data.home = world(data.origin[0] * 1e-7, data.origin[1] * 1e-7);
  return data;
}

// Web-Mercator as a unit square; places are kept relative to the bundle's origin so that no digit is lost.
function world(lon, lat) {
  const sine = Math.sin((lat * Math.PI) / 180);
  return [lon / 360 + 0.5, 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI)];
}

function placeOf(data, lon, lat) {
  const [across, down] = world(lon, lat);
  return [across - data.home[0], down - data.home[1]];
}

function places(data, name) {
  const steps = data.columns[name];
  const out = new Float64Array(steps.length);
  let lon = data.origin[0];
  let lat = data.origin[1];
  for (let i = 0; i < steps.length; i += 2) {
    lon += steps[i];
    lat += steps[i + 1];
    const [across, down] = placeOf(data, lon * 1e-7, lat * 1e-7);
    out[i] = across;
    out[i + 1] = down;
  }
  return out;
}

function polygons(data, name) {
  const points = places(data, name);
  const owner = data.columns[`${name}_owner`];
  const ends = data.columns[`${name}_ends`];
  const out = [];
  for (let ring = 0, start = 0; ring < ends.length; start = ends[ring], ring += 1) {
    (out[owner[ring]] ||= []).push(points.subarray(2 * start, 2 * ends[ring]));
  }
  return out;
}

function lines(data, name) {
  const points = places(data, name);
  let start = 0;
  return Array.from(data.columns[`${name}_ends`], (end) => {
    const line = points.subarray(2 * start, 2 * end);
    start = end;
    return line;
  });
}

// Place of every vine: even steps between the knots of its row. `starts[row]` is the row's first vine.
function vines(data, name) {
  const knots = data.columns[`${name}_knots`];
  const spots = places(data, name);
  const counts = data.columns[`${name}_counts`];
  const starts = new Uint32Array(counts.length + 1);
  counts.forEach((count, row) => (starts[row + 1] = starts[row] + count));
  const points = new Float64Array(2 * starts[counts.length]);
  let before = 0;
  for (let knot = 0, at = 0; knot < knots.length; knot += 1) {
    at += knots[knot];
    for (let vine = before; vine <= at; vine += 1) {
      const share = knot && at > before ? (vine - before) / (at - before) : 1;
      for (const axis of [0, 1]) {
        const left = spots[2 * Math.max(knot - 1, 0) + axis];
        points[2 * vine + axis] = left + (spots[2 * knot + axis] - left) * share;
      }
    }
    before = at;
  }
  return { points, starts };
}

function boundsOf(rings) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const ring of rings) {
    for (let i = 0; i < ring.length; i += 2) {
      box[0] = Math.min(box[0], ring[i]);
      box[1] = Math.min(box[1], ring[i + 1]);
      box[2] = Math.max(box[2], ring[i]);
      box[3] = Math.max(box[3], ring[i + 1]);
    }
  }
  return box;
}
