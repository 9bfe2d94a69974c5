// What was done: planned work to tick, other work to add, the squeezed handful.
const work = {};

work.tasks = (fieldId) => start.week.tasks.filter((t) => t[0] === fieldId);
work.slot = (t) => `${t[0]}|${t[1]}|${t[2]}`;
work.name = (task) => data.tasks[task] ?? data.works[task];

work.draw = function (fieldId, place) {
  const slots = new Set(work.tasks(fieldId).map(work.slot));
  const others = keep.entries.filter((e) => e.kind === "work" && e.field === fieldId && !slots.has(e.slot) && (e.slot ? start.isNow(e.slot) : !e.saved || mondayOf(e.on) === start.week.start));
  redraw(place, work.all(fieldId), ...work.tasks(fieldId).map((t) => work.planned(fieldId, t)), ...others.map((e) => work.box(e, null)));
};

// One press for all that was planned up to the day chosen and is not ticked yet, each on its planned day.
work.all = function (fieldId) {
  const day = by("day").value, due = work.tasks(fieldId).filter((t) => t[2] <= day && !keep.find({kind: "work", slot: work.slot(t)}));
  const tick = () => {
    for (const t of due) work.fill(keep.add({kind: "work", field: fieldId, task: t[1], slot: work.slot(t), on: t[2], plannedHours: t[4]}, t[1]));
    start.draw(fieldId);
  };
  return due.length > 1 ? button(say("week_say_all_as_sheet", {day: dayWords(day)}), tick, {class: "all", "data-at": "all"}) : null;
};

// Hours, bearing and corner of an entry as the sheet has them.
work.fill = function (entry) {
  const run = data.fields[entry.field]?.runs[entry.task];
  if ((entry.plannedHours ?? null) !== null) entry.hours = String(entry.plannedHours);
  if (run) [entry.bearing, entry.entry] = [String(run[0]), run[1]];
  keep.store();
};

work.planned = function (fieldId, task) {
  const [, word, , dayName, hours, why] = task;
  const entry = keep.find({kind: "work", slot: work.slot(task)});
  return work.box(entry, {field: fieldId, task: word, slot: work.slot(task), plannedHours: hours}, say("week_say_planned", {day: dayName, hours: hours === null ? "" : say("week_say_as_hours", {hours})}), why);
};

// One work: a large tick; where it is ticked, what was really done.
work.box = function (entry, planned, when = "", why = "") {
  const word = entry?.task ?? planned.task, fieldId = entry?.field ?? planned.field, at = planned?.slot ?? entry.id;
  const tick = () => {
    if (entry) keep.remove(entry);
    else keep.add({kind: "work", field: fieldId, task: word, slot: planned.slot, on: by("day").value, plannedHours: planned.plannedHours}, word);
    start.draw(fieldId);
  };
  const hand = (keep.find({kind: "hand", field: fieldId, on: entry?.on ?? by("day").value}) ?? {}).value;
  const off = hand && (data.off[word] ?? []).includes(hand);
  return el("div", {class: "task"},
    ticked([el("b", {}, work.name(word)), when], Boolean(entry), tick, {disabled: entry?.saved, "data-at": "tick " + at}),
    why ? el("p", {class: "why"}, why) : null,
    off ? el("p", {class: "off"}, say("week_say_off", {hand: data.hands[hand]})) : null,
    entry && !entry.saved ? work.ask(entry, at) : null);
};

work.ask = function (entry, at) {
  const put = (name) => (value) => { entry[name] = value; keep.store(); };
  const checked = (name, low, high) => (value, input) => {
    put(name)(value);
    const text = rows.number(value);
    input.setAttribute("aria-invalid", String(Boolean(text) && !rows.isNumber(text, low, high)));
  };
  const run = data.fields[entry.field]?.runs[entry.task], runs = data.rolled.includes(entry.task), mixed = data.mixed.includes(entry.task);
  const number = {type: "text", inputmode: "decimal", autocomplete: "off"};
  const asSheet = () => { work.fill(entry); start.draw(entry.field); };
  const known = (entry.plannedHours ?? null) !== null || Boolean(run);
  return el("div", {class: "ask"},
    known ? button(say("week_say_as_sheet"), asSheet, {class: "whole", "data-at": "as " + at}) : null,
    field(say("week_say_hours"), entry.hours, checked("hours", 0, 2000), {...number, "data-at": "hours " + at}),
    field(say("week_say_day"), entry.on, put("on"), {type: "date", "data-at": "day " + at}),
    runs ? field(say("week_say_bearing"), entry.bearing, checked("bearing", 0, 360), {...number, "data-at": "bearing " + at}) : null,
    runs ? choice(say("week_say_corner"), data.corners, entry.entry, put("entry"), "corner " + at) : null,
    mixed ? field(say("week_say_mix"), entry.mix, checked("mix", 0, 100000), {...number, "data-at": "mix " + at}) : null,
    mixed ? choice(say("week_say_unit"), data.units, entry.unit, put("unit"), "unit " + at) : null,
    field(say("week_say_note"), entry.notes, put("notes"), {type: "text", class: "whole", "data-at": "note " + at}));
};

work.drawOther = function (fieldId, place) {
  const add = (word) => {
    if (!word) return;
    keep.add({kind: "work", field: fieldId, task: word, slot: "", on: by("day").value}, word);
    start.draw(fieldId);
  };
  redraw(place, choice(say("week_say_other"), data.works, "", add, "other"));
};

// The squeezed handful: one word a field and day; it goes with every work of that day.
work.drawHand = function (fieldId, place) {
  const on = by("day").value, entry = keep.find({kind: "hand", field: fieldId, on});
  const choose = (value) => () => {
    if (entry) keep.remove(entry);
    if (!entry || entry.value !== value) keep.add({kind: "hand", field: fieldId, on, value}, "hand");
    start.draw(fieldId);
  };
  redraw(place, el("h2", {class: "asked"}, say("week_say_hand", {day: dayWords(on)})), el("div", {class: "choices"}, ...Object.entries(data.moistures).map(([value, words]) =>
    button(words, choose(value), {"aria-pressed": String(entry?.value === value), disabled: entry?.saved, "data-at": value}))));
};
