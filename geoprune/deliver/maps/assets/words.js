// Words and numbers in the reader's language and units. Sentences come told; here stand labels, and single figures in SI.
const speech = { language: "en", units: "us", words: {}, locales: {}, measures: {}, ninety: 0 };

function say(key, fields = {}) {
  const sentence = (speech.words[speech.language] || {})[key] ?? (speech.words.en || {})[key] ?? key;
  return sentence.replace(/\{(\w+)\}/g, (whole, name) => (name in fields ? String(fields[name]) : whole));
}

// A word of the plan that has a translation, or the word itself.
function word(kind, text) {
  const key = `${kind}_${String(text).trim().replace(/[^A-Za-z0-9]+/g, "_").toLowerCase()}`;
  const known = (speech.words[speech.language] || {})[key];
  return known === undefined ? String(text) : known;
}

function number(value, digits = 0) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  const shape = { minimumFractionDigits: digits, maximumFractionDigits: digits };
  return value.toLocaleString(speech.locales[speech.language], shape);
}

const known = (value) => value !== null && value !== undefined && Number.isFinite(value);

// A measure in the reader's units: what to divide by, digits and sign come with the page.
const unitOf = (name) => speech.measures[speech.language][speech.units][name];

function measure(name, value, digits) {
  const [divisor, usual, sign] = unitOf(name);
  return known(value) ? `${number(value / divisor, digits ?? usual)} ${sign}` : "–";
}

const weight = (kg, digits) => measure("kg", kg, digits);
const lengthOf = (metres) => measure("m", metres);
const area = (hectares) => measure("ha", hectares);

function percent(share) {
  return known(share) ? `${number(100 * share)} %` : "–";
}

// The range that holds the true mean nine times in ten, for a normal error.
function interval(kg, error) {
  if (!known(kg) || !known(error)) return "–";
  const [divisor, digits, sign] = unitOf("kg");
  const ends = [Math.max(kg - speech.ninety * error, 0), kg + speech.ninety * error];
  return `${ends.map((end) => number(end / divisor, digits)).join("–")} ${sign}`;
}

// Words of the lists begin small, because most stand inside a line; these begin one.
const capital = (text) => text.charAt(0).toLocaleUpperCase(speech.language) + text.slice(1);

function put(id, ...children) {
  const node = document.getElementById(id);
  node.replaceChildren(...given(children));
  return node;
}

function table(caption, heads, lines) {
  const head = make("tr", {}, ...heads.map((text) => make("th", { scope: "col", text: capital(text) })));
  const body = lines.map((cells) =>
    make("tr", {}, ...cells.map((cell, i) => {
      const node = i ? make("td") : make("th", { scope: "row" });
      node.append(cell instanceof Node ? cell : String(cell));
      return node;
    })),
  );
  const whole = make("table", {}, make("caption", { text: caption }), make("thead", {}, head), make("tbody", {}, ...body));
  return make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": caption }, whole);
}

// Two or more buttons of which one is pressed.
function choice(label, options, chosen, choose) {
  const buttons = options.map(([value, text, spoken]) =>
    make("button", {
      type: "button",
      text,
      lang: spoken ? value : null,
      "aria-label": spoken || null,
      "aria-pressed": String(value === chosen),
      "data-value": value,
      onclick: () => choose(value),
    }),
  );
  return make("div", { class: "choice", role: "group", "aria-label": label }, ...buttons);
}
