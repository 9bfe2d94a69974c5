// What is kept and not yet saved, and the file that it is saved as.
const saving = {};

saving.line = function (e) {
  const named = {field: data.fields[e.field]?.name ?? e.field, day: dayWords(e.on)};
  if (e.kind === "work") return say("week_say_line_work", {...named, work: work.name(e.task), hours: e.hours ? say("week_say_as_hours", {hours: e.hours}) : ""});
  if (e.kind === "hand") return say("week_say_line_hand", {...named, hand: data.hands[e.value]});
  if (e.kind === "seen") return say("week_say_line_seen", {...named, what: eyes.line(e)});
  return e.action ? say("week_say_line_walk", {...named, item: e.item, place: e.place, action: data.actions[e.action]}) : say("week_say_line_walked", named);
};

saving.draw = function () {
  const open = keep.unsaved(), saved = keep.entries.length - open.length;
  by("refused").hidden = !keep.refused && !keep.unread;
  by("refused").textContent = keep.refused ? say("week_say_refused") : keep.unread ? say("week_say_unread") : "";
  redraw(by("list"), ...open.map((e) => el("li", {}, saving.line(e), button(say("week_say_remove"), () => { keep.remove(e); start.draw(); }, {"data-at": "x " + e.id}))));
  by("unsaved").textContent = open.length ? count("week_say_summary", open.length) : say("week_say_summary_none");
  by("save").textContent = say("week_say_save");
  by("save").disabled = !open.length;
  by("again").textContent = count("week_say_saved", saved);
  by("clear").textContent = say("week_say_clear");
  by("show").textContent = say("week_say_text");
  by("share").textContent = say("week_say_share");
  by("again").hidden = by("clear").hidden = !saved;
  by("show").hidden = !keep.entries.length;
};

saving.name = () => `week-${data.project}-${isoOf(new Date())}.csv`;

// The text of some entries, or null where one of them is wrong: then it is named, and nothing is saved.
saving.text = function (entries) {
  const wrong = entries.flatMap((e) => rows.faults(e).map((fault) => `${saving.line(e)}: ${fault}`));
  by("wrong").replaceChildren(...(wrong.length ? [el("p", {}, say("week_say_wrong")), el("ul", {}, ...wrong.map((line) => el("li", {}, line)))] : []));
  return wrong.length ? null : rows.csv(entries);
};

saving.save = function (entries) {
  const text = saving.text(entries);
  if (text === null) return;
  const link = el("a", {href: URL.createObjectURL(new Blob([text], {type: "text/csv;charset=utf-8"})), download: saving.name()});
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  saving.done(entries);
};

saving.done = function (entries) {
  entries.forEach((e) => { e.saved = true; });
  keep.store();
  by("given").textContent = say("week_say_given", {file: saving.name()});
  start.draw();
};

saving.show = function () {
  const text = saving.text(keep.entries);
  if (text === null) return;
  by("text").hidden = false;
  by("text").value = text;
  by("text").focus();
  by("text").select();
};

saving.share = async function () {
  const chosen = keep.unsaved().length ? keep.unsaved() : keep.entries, text = saving.text(chosen);
  if (text === null) return;
  try {
    await navigator.share({files: [new File([text], saving.name(), {type: "text/csv"})]});
    saving.done(chosen);
  } catch { saving.show(); }
};

saving.clear = function () {
  if (!confirm(say("week_say_clear_sure"))) return;
  keep.entries = keep.unsaved();
  keep.store();
  start.draw();
};
