// Pieces of the page: elements, buttons, fields to fill.
function el(tag, given = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.filter((x) => x !== null));
  return made;
}

function button(text, onclick, given = {}) {
  return el("button", {type: "button", onclick, ...given}, ...[text].flat());
}

// Redraw a part and keep the place of who works by keyboard: elements are found again by their data-at.
function redraw(place, ...inside) {
  const at = place.contains(document.activeElement) ? document.activeElement.dataset.at : undefined;
  place.replaceChildren(...inside.filter((x) => x !== null));
  if (at !== undefined) place.querySelector(`[data-at="${CSS.escape(at)}"]`)?.focus();
}

// A large box to tick with what it is of.
function ticked(words, on, onclick, given = {}) {
  return button([el("span", {class: "tick", "aria-hidden": "true"}, on ? "\u2713" : ""), el("span", {}, ...words)], onclick, {"aria-pressed": String(on), ...given});
}

function choice(label, values, chosen, onchoose, at) {
  const made = el("select", {"data-at": at, onchange: (event) => onchoose(event.target.value)}, el("option", {value: ""}, say("week_say_choose")));
  for (const [value, words] of Object.entries(values)) made.append(el("option", {value, selected: value === chosen}, words));
  return el("label", {}, label, made);
}

function field(label, value, oninput, given) {
  return el("label", {class: given.class}, label, el("input", {...given, class: null, value: value ?? "", oninput: (event) => oninput(event.target.value, event.target)}));
}
