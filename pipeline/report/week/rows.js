// Entries as rows of one file: UTF-8, commas, one header; cells of other tables stay empty (RFC 4180).
const rows = {};

rows.number = (text) => text.trim().replace(",", ".");
rows.isNumber = (text, low, high) => /^\d+(\.\d+)?$/.test(text) && Number(text) >= low && Number(text) <= high;
// A bearing is that of a line, 0 to 180: 270 is the line of 90.
rows.bearing = (text) => Number(text) > 180 ? String(Number(text) - 180) : text;

// What is wrong with an entry, in words; empty where nothing is.
rows.faults = function (e) {
  const out = [];
  if (!/^(19|20)\d\d-\d\d-\d\d$/.test(e.on)) out.push(say("week_say_bad_day"));
  if (e.kind !== "work") return out;
  const hours = rows.number(e.hours ?? ""), bearing = rows.number(e.bearing ?? ""), mix = rows.number(e.mix ?? "");
  if (hours && !rows.isNumber(hours, 0, 2000)) out.push(say("week_say_bad_number"));
  if (bearing && !rows.isNumber(bearing, 0, 360)) out.push(say("week_say_bad_bearing"));
  if (mix && !rows.isNumber(mix, 0, 100000)) out.push(say("week_say_bad_number"));
  if (mix && !e.unit) out.push(say("week_say_bad_unit"));
  if (!mix && e.unit) out.push(say("week_say_bad_amount"));
  return out;
};

// A note as a table takes it: no control signs, not begun with a sign that a spreadsheet takes for a formula.
rows.plain = (text) => text.replace(/[\u0000-\u001f\u007f]+/g, " ").replace(/^[\s=@+-]+/, "").slice(0, 2000);

rows.of = function (e) {
  const hand = (keep.find({kind: "hand", field: e.field, on: e.on}) ?? {}).value ?? "";
  if (e.kind === "work") return {
    table: "works", work_id: e.id, field_id: e.field, done_on: e.on, work: e.task, hours: rows.number(e.hours ?? ""), moisture: hand, by: "crew",
    bearing_deg: rows.bearing(rows.number(e.bearing ?? "")), entry: e.entry ?? "", mix_amount: rows.number(e.mix ?? ""), mix_unit: e.unit ?? "", notes: rows.plain(e.notes ?? ""),
  };
  if (e.kind === "hand") return {table: "readings", reading_id: e.id, field_id: e.field, read_on: e.on, kind: "moisture_hand", value: e.value};
  if (e.kind === "seen") return {table: "readings", reading_id: e.id, field_id: e.field, read_on: e.on, kind: "seen", value: e.value, place: e.place ?? "", e: e.e, n: e.n};
  return {
    table: "walks", walk_id: e.id, field_id: e.field, walked_on: e.on, item: e.item, place: e.place, finding: e.finding,
    action: e.action ?? "", closed_on: e.action === "repaired" ? e.on : "", role: "crew",
  };
};

rows.cell = function (value) {
  const text = String(value ?? "").replace(/[\r\n\t]+/g, " ").trim();
  return /[",]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
};

rows.csv = function (entries) {
  const lines = entries.map(rows.of).map((row) => data.columns.map((name) => rows.cell(row[name])).join(","));
  return [data.columns.join(","), ...lines].join("\r\n") + "\r\n";
};
