// The week by this device's clock, the fields with their work, and what each press does.
const start = {week: null};

start.isNow = (slot) => mondayOf(slot.split("|")[2]) === start.week.start;

start.draw = function (fieldId) {
  for (const box of document.querySelectorAll("details.field")) if (!fieldId || box.dataset.field === fieldId) start.field(box.dataset.field, box);
  saving.draw();
};

start.field = function (fieldId, box) {
  const tasks = work.tasks(fieldId), done = tasks.filter((t) => keep.find({kind: "work", slot: work.slot(t)})).length;
  const hazards = box.querySelectorAll(".hazard");
  box.querySelector(".count").textContent = [hazards.length ? say("week_say_hazards") : "", tasks.length ? say("week_say_done", {done, all: tasks.length}) : say("week_say_nothing")].filter(Boolean).join(" \u00b7 ");
  const gap = start.week.gaps[fieldId] ?? "", bases = start.week.bases[fieldId] ?? "";
  box.querySelector(".gap").hidden = !gap;
  box.querySelector(".gap").textContent = gap;
  box.querySelectorAll(".bases").forEach((part) => { part.hidden = !bases; });
  box.querySelector("dd.bases").textContent = bases;
  if (!box.open) return;  // what is folded is drawn when it is opened: two hundred fields at once would be slow
  work.drawHand(fieldId, box.querySelector(".hand"));
  work.draw(fieldId, box.querySelector(".tasks"));
  work.drawOther(fieldId, box.querySelector(".other"));
  eyes.draw(fieldId, box);
  eyes.drawWalk(fieldId, box.querySelector(".walk"));
  hazards.forEach((hazard) => eyes.drawHazard(fieldId, hazard));
};

// Fields with work this week first, in its order; the others after them.
start.sort = function () {
  const rank = (box) => { const k = start.week.tasks.findIndex((t) => t[0] === box.dataset.field); return k < 0 ? Infinity : k; };
  const boxes = [...document.querySelectorAll("details.field")];
  by("fields").append(...boxes.sort((a, b) => rank(a) - rank(b) || 0));
};

start.choose = function (monday, today) {
  start.week = data.weeks.find((w) => w.start === monday) ?? {start: monday, name: "", tasks: [], bases: {}, gaps: {}};
  const first = data.weeks[0]?.start ?? monday;
  const now = mondayOf(today), when = monday > now ? say("week_say_early") : monday < now ? say("week_say_over") : say("week_say_now");
  by("now").textContent = data.weeks.length ? [when, monday > first ? say("week_say_later") : ""].join(" ").trim() : say("week_say_none");
  start.sort();
  start.draw();
};

start.run = function () {
  const today = isoOf(new Date()), mondays = data.weeks.map((w) => w.start);
  by("day").value = today;
  keep.load();
  keep.changed = saving.draw;
  for (const week of data.weeks) by("week").append(el("option", {value: week.start}, week.name));
  const now = mondays.find((m) => m >= mondayOf(today)) ?? mondays.at(-1) ?? mondayOf(today);
  by("week").value = now;
  by("week").addEventListener("change", () => start.choose(by("week").value, today));
  by("day").addEventListener("change", () => { if (by("day").value) start.draw(); else by("day").value = today; });
  for (const box of document.querySelectorAll("details.field")) {
    box.addEventListener("toggle", () => { if (box.open) start.field(box.dataset.field, box); });
    eyes.listen(box.dataset.field, box.querySelector("svg"));
  }
  by("save").addEventListener("click", () => saving.save(keep.unsaved()));
  by("again").addEventListener("click", () => saving.save(keep.entries));
  by("show").addEventListener("click", saving.show);
  by("share").addEventListener("click", saving.share);
  by("clear").addEventListener("click", saving.clear);
  by("share").hidden = !(navigator.canShare && navigator.canShare({files: [new File([""], "a.csv", {type: "text/csv"})]}));
  addEventListener("beforeprint", () => document.querySelectorAll("details.field").forEach((box) => { box.open = true; start.field(box.dataset.field, box); }));
  start.choose(now, today);
};

start.run();
