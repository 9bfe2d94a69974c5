// What the eye sees: a word, then a tap on the plan or a place by name; what was done about a hazard; a walk that found nothing.
const eyes = {word: {}};

eyes.draw = function (fieldId, box) {
  const chosen = eyes.word[fieldId], of = data.fields[fieldId], mine = eyes.mine(fieldId);
  const choose = (value) => () => { eyes.word[fieldId] = chosen === value ? undefined : value; eyes.draw(fieldId, box); };
  const places = Object.fromEntries(of.places.map(([id, name]) => [id, name]));
  const atPlace = (id) => {
    const found = of.places.find((p) => p[0] === id);
    if (found) eyes.add(fieldId, {place: id, placeName: found[1], e: found[2].toFixed(2), n: found[3].toFixed(2)});
  };
  const last = mine.filter((e) => !e.saved).at(-1);
  redraw(box.querySelector(".see"), el("h2", {class: "asked"}, say("week_say_eyes")),
    el("div", {class: "choices"}, ...Object.entries(data.seen).map(([value, words]) => button(words, choose(value), {"aria-pressed": String(chosen === value), "data-at": value}))),
    el("p", {role: "status"}, chosen ? say("week_say_tap", {what: data.seen[chosen]}) : say("week_say_word_first")),
    of.places.length && chosen ? choice(say("week_say_place"), places, "", atPlace, "place") : null,
    last ? button(say("week_say_back"), () => { keep.remove(last); start.draw(fieldId); }, {"data-at": "back"}) : null);
  redraw(box.querySelector(".seen-list"), el("ul", {}, ...mine.map((e) => el("li", {}, `${mine.indexOf(e) + 1}: ${eyes.line(e)}`,
    e.saved ? el("span", {}, say("week_say_state_saved")) : button(say("week_say_remove"), () => { keep.remove(e); start.draw(fieldId); }, {"data-at": "x " + e.id})))));
  eyes.mark(box.querySelector("svg"), mine, of.ground);
};

eyes.mine = (fieldId) => keep.entries.filter((e) => e.kind === "seen" && e.field === fieldId);

eyes.line = function (e) {
  const what = data.seen[e.value], places = data.fields[e.field]?.places ?? [], away = (p) => Math.hypot(p[2] - e.e, p[3] - e.n);
  if (e.placeName) return say("week_say_at_place", {what, place: e.placeName});
  return places.length ? say("week_say_at", {what, place: places.reduce((a, b) => away(b) < away(a) ? b : a)[1]}) : say("week_say_on_plan", {what});
};

eyes.add = function (fieldId, where) {
  keep.add({kind: "seen", field: fieldId, on: by("day").value, value: eyes.word[fieldId], ...where}, eyes.word[fieldId]);
  start.draw(fieldId);
};

// A tap, in the drawing's own units, carried to the ground: see to_ground in plan.py.
eyes.listen = function (fieldId, svg) {
  svg.addEventListener("click", (event) => {
    if (!eyes.word[fieldId]) return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const [a, b, c, d, e, f] = data.fields[fieldId].ground;
    eyes.add(fieldId, {e: (a * at.x + b * at.y + c).toFixed(2), n: (d * at.x + e * at.y + f).toFixed(2)});
  });
};

eyes.mark = function (svg, mine, [a, b, c, d, e, f]) {
  const make = (tag, given, text = "") => {
    const made = document.createElementNS(svg.namespaceURI, tag);
    Object.entries(given).forEach(([k, v]) => made.setAttribute(k, v));
    made.textContent = text;
    return made;
  };
  const det = a * e - b * d;
  svg.querySelector(".taps").replaceChildren(...mine.map((seen, k) => {
    const east = seen.e - c, north = seen.n - f, x = (e * east - b * north) / det, y = (a * north - d * east) / det;
    const group = make("g", {class: "tap", transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`});
    group.append(make("circle", {r: 20}), make("text", {"text-anchor": "middle", y: 9}, String(k + 1)));
    return group;
  }));
};

// What was done about an open hazard: one word, taken back by pressing it again.
eyes.drawHazard = function (fieldId, box) {
  const {place, item} = box.dataset, entry = keep.find({kind: "walk", field: fieldId, place, item});
  const act = (action) => () => {
    if (entry) keep.remove(entry);
    if (!entry || entry.action !== action) keep.add({kind: "walk", field: fieldId, on: by("day").value, place, item, action, finding: say("week_say_by_sheet", {action: data.actions[action]})}, action);
    start.draw(fieldId);
  };
  redraw(box.querySelector(".acts"), ...Object.entries(data.actions).map(([value, words]) =>
    button(words, act(value), {"aria-pressed": String(entry?.action === value), disabled: entry?.saved, "data-at": value})));
};

eyes.drawWalk = function (fieldId, place) {
  const on = by("day").value, wanted = {kind: "walk", field: fieldId, on, item: say("week_say_walk_item"), place: say("week_say_walk_place")}, entry = keep.find(wanted);
  const tick = () => {
    if (entry) keep.remove(entry);
    else keep.add({...wanted, finding: say("week_say_walk_finding")}, "walked");
    start.draw(fieldId);
  };
  redraw(place, el("div", {class: "task"}, ticked([say("week_say_walked")], Boolean(entry), tick, {disabled: entry?.saved, "data-at": "walk"})));
};
