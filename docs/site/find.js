/* Finds sections that hold every word typed; folds the list of pages. PLACES: page, anchor, page's title, heading, text. */
(() => {
  const form = document.querySelector(".find"), box = document.getElementById("find"), out = document.getElementById("found");
  const list = out.querySelector("ul"), count = document.getElementById("count");
  const MOST = 25, AROUND = 70;
  const fold = text => text.toLowerCase().normalize("NFD").replace(/\p{M}/gu, "");
  const places = PLACES.map(([page, anchor, title, heading, text]) => ({ page, anchor, title, heading, text, head: fold(title + " " + heading), all: fold(title + " " + heading + " " + text) }));
  const piece = (place, word) => {
    const at = fold(place.text).indexOf(word);
    if (at < 0) return place.text.slice(0, 2 * AROUND);
    return (at > AROUND ? "... " : "") + place.text.slice(Math.max(0, at - AROUND), at + AROUND);
  };
  const line = (place, word) => {
    const item = document.createElement("li"), link = document.createElement("a"), said = document.createElement("span");
    link.href = place.page + "#" + place.anchor;
    link.textContent = place.heading === place.title ? place.title : place.title + ": " + place.heading;
    said.className = "soft";
    said.textContent = " " + piece(place, word);
    item.append(link, said);
    return item;
  };
  box.addEventListener("input", () => {
    const words = fold(box.value).split(/\s+/).filter(w => w.length > 1);
    out.hidden = !words.length;
    if (!words.length) return;
    const hits = places.filter(p => words.every(w => p.all.includes(w)));
    const named = p => words.every(w => p.head.includes(w));
    hits.sort((a, b) => named(b) - named(a));
    list.replaceChildren(...hits.slice(0, MOST).map(p => line(p, words[0])));
    count.textContent = !hits.length ? "Nothing found." : hits.length > MOST ? `${hits.length} places; the first ${MOST}:` : `${hits.length} place${hits.length === 1 ? "" : "s"}:`;
  });
  form.addEventListener("submit", e => { e.preventDefault(); const first = list.querySelector("a"); if (first) location.href = first.href; });
  form.hidden = false;

  // On a narrow screen the list of pages is folded until it is asked for.
  const narrow = matchMedia("(max-width:52rem)"), pages = document.querySelector("nav > details");
  const fit = () => { pages.open = !narrow.matches; };
  narrow.addEventListener("change", fit);
  fit();
})();
