// Small makers of elements. An edge: it touches the document and holds no rules.

const PROPERTIES = new Set(["value", "checked", "disabled", "hidden", "open"]);

// attributes: names as in HTML; `onclick` and the like are functions, never text.
export function h(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "class") node.className = value;
    else if (PROPERTIES.has(name)) node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...filled(children));
  return node;
}

function filled(children) {
  return children
    .flat(Infinity)
    .filter((child) => child !== null && child !== undefined && child !== false && child !== "");
}

export function button(words, onclick, attributes = {}) {
  const { class: more = "button", ...rest } = attributes;
  return h("button", { type: "button", class: more, onclick, ...rest }, words);
}

export function link(words, href, attributes = {}) {
  return h("a", { href, ...attributes }, words);
}

let made = 0;

// A label above its input, with help and an error where there is one.
export function field(label, input, { help = "", error = "", optional = "" } = {}) {
  made += 1;
  input.id ||= `f${made}`;
  const notes = [
    help && h("p", { class: "help", id: `${input.id}-help` }, help),
    error && h("p", { class: "field-error", id: `${input.id}-error` }, error),
  ].filter(Boolean);
  if (notes.length) input.setAttribute("aria-describedby", notes.map((one) => one.id).join(" "));
  if (error) input.setAttribute("aria-invalid", "true");
  return h(
    "div",
    { class: error ? "field has-error" : "field" },
    h("label", { for: input.id }, label, optional && h("span", { class: "optional" }, ` ${optional}`)),
    input,
    notes,
  );
}

export function textInput(value, oninput, attributes = {}) {
  return h("input", { type: "text", value: value ?? "", oninput: read(oninput), ...attributes });
}

export function textArea(value, oninput, attributes = {}) {
  const area = h("textarea", { rows: 3, oninput: read(oninput), ...attributes });
  area.value = value ?? "";
  return area;
}

export function choice(value, choices, onchange, attributes = {}) {
  const select = h("select", { onchange: read(onchange), ...attributes });
  select.append(...choices.map(([key, words]) => h("option", { value: key }, words)));
  select.value = value ?? "";
  return select;
}

export function check(words, checked, onchange, attributes = {}) {
  const box = h("input", { type: "checkbox", checked, onchange: () => onchange(box.checked) });
  return h("label", { class: "check-row field-check", ...attributes }, box, h("span", {}, words));
}

function read(act) {
  return (event) => act(event.target.value);
}

export function notice(kind, word, ...more) {
  return h(
    "div",
    { class: `notice notice-${kind}` },
    h("p", { class: "notice-word" }, word),
    more.filter(Boolean).map((one) => (typeof one === "string" ? h("p", {}, one) : one)),
  );
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}, words = "") {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (words) node.textContent = words;
  return node;
}

// The server's drawing, read as a document of its own: nothing in it can run.
export function drawingOf(text) {
  const read = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  return document.importNode(read, true);
}
