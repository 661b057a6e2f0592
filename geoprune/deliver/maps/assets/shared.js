// What both pages have. `data` is the page's data.
// Language and units, shared by both pages.
function pageChoices() {
  const set = (name) => (value) => {
    speech[name] = value;
    showPage();
    ground.redraw();
    const chosenButton = document.querySelector(`#settings [data-value="${value}"]`);
    if (chosenButton) chosenButton.focus();
  };
  const languages = Object.entries(data.words).map(([code, words]) => [code, code.toUpperCase(), words.language_name]);
  const units = [["us", say("units_us")], ["metric", say("units_metric")]];
  return [
    choice(say("language"), languages, speech.language, set("language")),
    choice(say("units"), units, speech.units, set("units")),
  ];
}

const printButton = () => make("button", { type: "button", text: say("print"), onclick: () => window.print() });

// What is said to the reader, in the language and units that are chosen.
const said = () => data.said[speech.language][speech.units];

// Bands of tape as they are seen; nothing where there is no tape.
function tapeMarks(bands) {
  if (!bands) return null;
  const marks = Array.from({ length: bands }, () => make("i", {}));
  return make("span", { class: "tape", role: "img", "aria-label": bands === 1 ? say("band") : say("bands", { bands }) }, ...marks);
}

function zoneSwatch(style, width, height) {
  const canvas = make("canvas", { class: "swatch", "aria-hidden": "true" });
  const density = 2;
  Object.assign(canvas, { width: width * density, height: height * density });
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  const context = canvas.getContext("2d");
  const tile = patternTile(data.look, style, density);
  context.fillStyle = context.createPattern(tile, "repeat");
  context.fillRect(0, 0, canvas.width, canvas.height);
  return canvas;
}

const showCautions = () => put("cautions", ...data.cautions.map((key) => make("p", { text: say(key) })));

function cross(path, x, y, size) {
  path.moveTo(x - size, y - size);
  path.lineTo(x + size, y + size);
  path.moveTo(x - size, y + size);
  path.lineTo(x + size, y - size);
}

// Where nobody may prune yet; read before all else.
const stopLine = (text) => (text ? make("span", { class: "stop", text }) : null);

const shortName = (name) => (name.length > 16 ? `${name.slice(0, 15)}…` : name);

// Ways to a block's other pages.
function linkList(links, name) {
  return make("span", { class: "links" }, ...Object.entries(links).map(([kind, href]) =>
    make("a", { href, text: say(`link_${kind}`), "aria-label": `${say(`link_${kind}`)}: ${name}` })));
}

// Starts the page once its data are unpacked; `data`, `shape`, `ground` and the painting are the page's own.
begin((unpacked) => {
  data = unpacked;
  readShapes();
  ground = openGround(data, shape.box, paint);
  ground.pick = pick;
  showPage();
  ground.begun();
  printable(data, shape.box, paint);
  window.geoprune = { ground, on, data };
});
