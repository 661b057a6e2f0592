// Words and numbers in the reader's language and units. Everything is kept in SI and turned on the way to the eye.
const LB = 0.45359237;
const FT = 0.3048;
const AC = 0.40468564224;
const speech = { language: "en", units: "us", words: {} };

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
  return value.toLocaleString(say("number_locale"), shape);
}

// A number of buds, or the word to stop where winter leaves none.
const budCount = (value) => (value === null || value === undefined || Number.isNaN(value) ? say("stop_word") : number(value));

const us = () => speech.units === "us";
const sign = (name) => say(`sign_${name}`);
const known = (value) => value !== null && value !== undefined && Number.isFinite(value);

function weight(kg, digits = us() ? 1 : 2) {
  return known(kg) ? `${number(us() ? kg / LB : kg, digits)} ${us() ? "lb" : "kg"}` : "–";
}

function weightPerLength(kgPerM) {
  if (!known(kgPerM)) return "–";
  return us() ? `${number((kgPerM / LB) * FT, 2)} ${sign("lb_per_ft")}` : `${number(kgPerM, 2)} kg/m`;
}

function lengthOf(metres, digits = 0) {
  return known(metres) ? `${number(us() ? metres / FT : metres, digits)} ${us() ? sign("ft") : "m"}` : "–";
}

function area(hectares) {
  return known(hectares) ? `${number(us() ? hectares / AC : hectares, 2)} ${us() ? sign("ac") : "ha"}` : "–";
}

function percent(share) {
  return known(share) ? `${number(100 * share)} %` : "–";
}

// The range that holds the true mean nine times in ten, for a normal error.
function interval(kg, error) {
  if (!known(kg) || !known(error)) return "–";
  const low = Math.max(kg - 1.645 * error, 0);
  const scale = us() ? 1 / LB : 1;
  const digits = us() ? 1 : 2;
  return `${number(low * scale, digits)}–${number((kg + 1.645 * error) * scale, digits)} ${us() ? "lb" : "kg"}`;
}

// Words of the lists begin small, because most stand inside a line; these begin one.
const capital = (text) => text.charAt(0).toLocaleUpperCase(speech.language) + text.slice(1);

// DOM without HTML: text from files only ever becomes a text node.
function make(tag, settings = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(settings)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "text") node.textContent = value;
    else if (name === "value" || name === "checked" || name === "disabled") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

function put(id, ...children) {
  const node = document.getElementById(id);
  node.replaceChildren(...children.filter((child) => child !== null && child !== undefined && child !== ""));
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
