// What the scripts of map and field page build their pages with: DOM without HTML. Text from files only ever becomes a text node.
const given = (children) => children.filter((child) => child !== null && child !== undefined && child !== "" && child !== false);

function make(tag, settings = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(settings)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "text") node.textContent = value;
    else if (name === "value" || name === "checked" || name === "disabled") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...given(children));
  return node;
}
