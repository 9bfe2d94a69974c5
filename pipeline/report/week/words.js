// What the page was handed, and its phrases with their names filled in.
const data = JSON.parse(document.getElementById("data").textContent);
const by = (id) => document.getElementById(id);

function say(key, values = {}) {
  return data.words[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

function count(key, number) {
  return say(key + (number === 1 ? "_one" : "_many"), {number});
}

// A day as the phone's language writes it.
function dayWords(iso) {
  const [y, m, d] = iso.split("-").map(Number);
  return new Date(y, m - 1, d).toLocaleDateString(document.documentElement.lang, {weekday: "short", day: "numeric", month: "short"});
}

// Today by this device's clock, as 2026-04-15; or the Monday of a day's week.
function isoOf(date) {
  const two = (n) => String(n).padStart(2, "0");
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

function mondayOf(iso) {
  const [y, m, d] = iso.split("-").map(Number), date = new Date(y, m - 1, d);
  date.setDate(date.getDate() - (date.getDay() + 6) % 7);
  return isoOf(date);
}
