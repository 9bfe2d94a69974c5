// Entries, kept on this device under one key a project. Where the device refuses, that is said and asked about before leaving.
const keep = {key: "skinplane-week:" + data.project, entries: [], refused: false, unread: false, changed: () => {}};

keep.load = function () {
  let text = null;
  try {
    text = localStorage.getItem(keep.key);
    localStorage.setItem(keep.key + ":try", "1");
    localStorage.removeItem(keep.key + ":try");
  } catch { keep.refused = true; }
  if (text === null) return;
  try {
    const found = JSON.parse(text);
    if (!Array.isArray(found.entries)) throw new Error("no entries");
    keep.entries = found.entries;
  } catch {
    keep.unread = true;  // not ours to lose: it is laid aside, and the page says so
    try { localStorage.setItem(keep.key + ":unread", text); } catch { keep.refused = true; }
  }
};

keep.store = function () {
  try {
    localStorage.setItem(keep.key, JSON.stringify({version: 1, entries: keep.entries}));
    keep.refused = false;
  } catch { keep.refused = true; }
  keep.changed();
};

// An id that no other phone makes: field, day, word and four letters by chance.
keep.id = function (entry, word) {
  const chance = Array.from(crypto.getRandomValues(new Uint8Array(4)), (b) => (b % 36).toString(36)).join("");
  return [entry.field, entry.on.replaceAll("-", ""), word.replaceAll("_", "-"), chance].join("-");
};

keep.add = function (entry, word) {
  const made = {...entry, id: keep.id(entry, word), saved: false};
  keep.entries.push(made);
  keep.store();
  return made;
};

keep.remove = function (entry) {
  keep.entries = keep.entries.filter((e) => e.id !== entry.id);
  keep.store();
};

keep.find = (wanted) => keep.entries.find((e) => Object.entries(wanted).every(([k, v]) => e[k] === v));
keep.unsaved = () => keep.entries.filter((e) => !e.saved);

addEventListener("beforeunload", (event) => {
  if (keep.refused && keep.unsaved().length) event.preventDefault();
});
// The page open twice: what the other one keeps counts here too.
addEventListener("storage", (event) => {
  if (event.key === keep.key) { keep.entries = []; keep.load(); start.draw(); }
});
