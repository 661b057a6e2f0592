// Places on the ground: which row is nearest, and the way to the next vine. Places are longitude and latitude; over one
// block they are laid out flat (metres east and north of its first row's vine 1).
const METRES_PER_DEGREE = 111320;
const FT = 0.3048;

function flat([lon, lat], [lon0, lat0]) {
  return [(lon - lon0) * METRES_PER_DEGREE * Math.cos((lat0 * Math.PI) / 180), (lat - lat0) * METRES_PER_DEGREE];
}

function stretch(line) {
  return line.slice(1).map((end, i) => {
    const [east, north] = flat(end, line[i]);
    return Math.hypot(east, north);
  });
}

// Where a vine stands: vines stand evenly along the row's line.
function placeOfVine(row, vine) {
  if (!row || row.line.length < 2) return null;
  const lengths = stretch(row.line);
  const share = row.last_vine > row.first_vine ? (vine - row.first_vine) / (row.last_vine - row.first_vine) : 0;
  let along = Math.min(Math.max(share, 0), 1) * lengths.reduce((a, b) => a + b, 0);
  let i = 0;
  while (i < lengths.length - 1 && along > lengths[i]) along -= lengths[i++];
  const part = lengths[i] ? along / lengths[i] : 0;
  return [0, 1].map((k) => row.line[i][k] + part * (row.line[i + 1][k] - row.line[i][k]));
}

// The row nearest to a place, the vine there, and how far off it is.
function nearestRow(rows, place) {
  let best = null;
  for (const row of rows) {
    let gone = 0;
    const lengths = stretch(row.line);
    const whole = lengths.reduce((a, b) => a + b, 0);
    lengths.forEach((length, i) => {
      const [east, north] = flat(row.line[i + 1], row.line[i]);
      const [x, y] = flat(place, row.line[i]);
      const part = length ? Math.min(Math.max((x * east + y * north) / length ** 2, 0), 1) : 0;
      const metres = Math.hypot(x - part * east, y - part * north);
      if (!best || metres < best.metres) {
        const share = whole ? (gone + part * length) / whole : 0;
        best = { row, metres, vine: Math.round(row.first_vine + share * (row.last_vine - row.first_vine)) };
      }
      gone += length;
    });
  }
  return best;
}

const distance = (metres) =>
  ["lb", "oz"].includes(draft.unit) ? `${number(metres / FT, 0)} ${say("feet")}` : `${number(metres, 0)} ${say("metres")}`;

function bearing(from, to) {
  const [east, north] = flat(to, from);
  const sector = (Math.round(Math.atan2(east, north) / (Math.PI / 4)) + 8) % 8;
  return { metres: Math.hypot(east, north), letters: say("compass").split(" ")[sector] };
}

// The way from one vine to the next in words: rows over, or along the row by its numbers.
function wayTo(from, to) {
  const rowIndex = (name) => block.rows.findIndex(({ row }) => row === name);
  const steps = [];
  if (from.row === to.row) {
    const vines = to.vine - from.vine;
    if (vines) steps.push(say(vines > 0 ? "way_up" : "way_down", { vines: Math.abs(vines) }));
  } else {
    const rows = Math.abs(rowIndex(to.row) - rowIndex(from.row));
    if (rowIndex(to.row) >= 0 && rowIndex(from.row) >= 0) steps.push(say(rows === 1 ? "way_row" : "way_rows", { rows }));
    const [start, end] = [from, to].map(({ row, vine }) => placeOfVine(block.rows[rowIndex(row)], vine));
    if (start && end) {
      const { metres, letters } = bearing(start, end);
      steps.push(say("way_far", { distance: distance(metres), letters }));
    }
  }
  return steps.join(", ");
}

// Asks the phone where it is, once, when somebody wants to know. Places are shown, never kept and never exported.
function findPosition(found, failed) {
  if (!navigator.geolocation) return failed();
  const take = ({ coords }) => found([coords.longitude, coords.latitude], coords.accuracy);
  return navigator.geolocation.getCurrentPosition(take, failed, { enableHighAccuracy: true, timeout: 20000, maximumAge: 2000 });
}
