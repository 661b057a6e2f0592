// Words and numbers in the reader's language, and what the page is built of.
const speech = { language: "en", words: {} };

function say(key, fields = {}) {
  const sentence = (speech.words[speech.language] || {})[key] ?? key;
  return sentence.replace(/\{(\w+)\}/g, (whole, name) => (name in fields ? String(fields[name]) : whole));
}

// A number as people of the language write it, without zeros at its end.
function number(value, digits = 3) {
  return Number(value).toLocaleString(say("number_locale"), { maximumFractionDigits: digits, useGrouping: false });
}

const decimalMark = () => number(1.5).charAt(1);

// A big button; `key` finds it again when the page is drawn anew.
const button = (key, text, onclick, settings = {}) =>
  make("button", { type: "button", "data-key": key, text, onclick, ...settings });

// Rising numbers with neighbours drawn together: "3, 7–9".
function drawnTogether(numbers) {
  const runs = [];
  for (const n of numbers) {
    const last = runs[runs.length - 1];
    if (last && n === last[1] + 1) last[1] = n;
    else runs.push([n, n]);
  }
  return runs.map(([a, b]) => (a === b ? String(a) : `${a}–${b}`)).join(", ");
}
