"use strict";
// Draws two dates of a field and their difference from the surfaces that the page carries. Words come with the data.
(function () {
  const block = document.getElementById("two-dates");
  if (!block) return;
  const data = JSON.parse(document.getElementById("two-dates-data").textContent);
  const NONE = -32768, S_NONE = 255, S_STEP = 0.25, FINE = 6, HATCH = 12, DOTS = 9, SHARP = 2;

  function bytes(text) {
    const raw = atob(text), out = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) out[k] = raw.charCodeAt(k);
    return out;
  }
  // A colour as the four bytes of a dot, in the order that a canvas keeps them.
  const dot = (hex) => new Uint32Array(Uint8Array.from([1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16)).concat(255)).buffer)[0];
  const fill = (text, given) => text.replace(/\{(\w+)\}/g, (_, name) => given[name]);
  // A mean and its 95 % half-width to the digits that the half-width supports, as all figures of the page are rounded.
  function ranged(mm, halfMm) {
    const half = halfMm / data.unit.size, power = Math.floor(Math.log10(half)), lead = (half / 10 ** power) * 100;
    const places = Math.max(0, Math.min(lead < 354.5 ? 1 - power : -power, data.unit.finest));
    const text = (v) => v.toFixed(places).replace(/^-(0\.?0*)$/, "$1").replace("-", "\u2212");
    return [mm / data.unit.size, Math.max(half, 10 ** -places)].map((v) => text(v) + "\u00a0" + data.unit.name);
  }
  const area = (cells) => Math.round((cells * data.cell_m2) / data.area.size) + "\u00a0" + data.area.name;

  // A date is unpacked when it is first looked at: the page opens without waiting for those nobody chose.
  function unpacked(date) {
    if (typeof date.z === "string") [date.z, date.s] = [new Int16Array(bytes(date.z).buffer), bytes(date.s)];
    return date;
  }

  const PLANE = data.plane.map(dot), LOST = data.lost.map(dot), GAINED = data.gained.map(dot), STILL = dot(data.still);
  const levels = [...data.steps].reverse().map((v) => -v).concat(data.steps);
  const shade = (mm) => PLANE[levels.filter((v) => mm >= v).length];

  // A picture of the skin, FINE dots to a cell, so that hatching is finer than a cell. `colour` gives a dot, 0 where nothing is drawn.
  function drawn(canvas, colour) {
    const wide = data.nx * FINE, high = data.ny * FINE, image = new ImageData(wide, high), dots = new Uint32Array(image.data.buffer);
    for (let r = 0; r < high; r++) {
      const row = Math.floor(r / FINE) * data.nx;
      for (let c = 0; c < wide; c++) dots[r * wide + c] = colour(row + Math.floor(c / FINE), r, c);
    }
    const picture = document.createElement("canvas");
    picture.width = wide;
    picture.height = high;
    picture.getContext("2d").putImageData(image, 0, 0);
    canvas.width = data.width * SHARP;
    canvas.height = data.height * SHARP;
    const pen = canvas.getContext("2d"), m = data.matrix.map((v) => v * SHARP);
    pen.imageSmoothingEnabled = false;
    pen.setTransform(m[0] / FINE, m[1] / FINE, m[2] / FINE, m[3] / FINE, m[4], m[5]);
    pen.drawImage(picture, 0, 0);
  }

  // Mean of a cell and its neighbours, for the eye: the noise of single cells would hide the shape. Differences are not smoothed.
  function even(z, cell) {
    const row = Math.floor(cell / data.nx), col = cell % data.nx;
    let total = 0, count = 0;
    for (let r = Math.max(row - 1, 0); r <= Math.min(row + 1, data.ny - 1); r++) {
      for (let c = Math.max(col - 1, 0); c <= Math.min(col + 1, data.nx - 1); c++) {
        const v = z[r * data.nx + c];
        if (v !== NONE) [total, count] = [total + v, count + 1];
      }
    }
    return total / count;
  }

  function overPlane(date) {
    const colours = Array.from(date.z, (v, cell) => (v === NONE ? 0 : shade(even(date.z, cell))));
    return (cell) => colours[cell];
  }

  // Later less earlier in each cell, mm; null where it is no more than its own uncertainty or too little to matter, undefined where unseen.
  function moved(earlier, later, cell) {
    if (earlier.z[cell] === NONE || later.z[cell] === NONE || earlier.s[cell] === S_NONE || later.s[cell] === S_NONE) return undefined;
    const change = later.z[cell] - earlier.z[cell];
    const sigma = S_STEP * Math.hypot(earlier.s[cell], later.s[cell]);
    return Math.abs(change) > 1.96 * sigma && Math.abs(change) >= data.moved[0] ? change : null;
  }

  function difference(earlier, later) {
    const changes = Array.from({ length: earlier.z.length }, (_, cell) => moved(earlier, later, cell));
    const depths = changes.map((change) => data.moved.filter((v) => Math.abs(change) >= v).length - 1);
    return (cell, r, c) => {
      const change = changes[cell];
      if (change === undefined) return 0;
      if (change === null) return STILL;
      const deep = depths[cell], colours = change < 0 ? LOST : GAINED;
      const sign = change < 0 ? (r + c) % HATCH < 2 : r % DOTS < 3 && (c + (Math.floor(r / DOTS) % 2) * Math.floor(DOTS / 2)) % DOTS < 3;
      return sign ? colours[deep === 2 ? 0 : 2] : colours[deep];
    };
  }

  function said(earlier, later) {
    let lost = 0, gained = 0, seen = 0, total = 0;
    for (let cell = 0; cell < earlier.z.length; cell++) {
      const change = moved(earlier, later, cell);
      if (change === undefined) continue;
      seen++;
      total += later.z[cell] - earlier.z[cell];
      if (change < 0) lost++;
      if (change > 0) gained++;
    }
    if (!seen) return data.words.none;
    const given = { earlier: earlier.label, later: later.label, lost: area(lost), gained: area(gained), seen: area(seen) };
    if (earlier.tie === null || later.tie === null) return fill(data.words.said, given);
    const [mean, tie] = ranged(total / seen, 1.96 * Math.hypot(earlier.tie, later.tie));
    return fill(data.words.said_tied, { ...given, mean, tie });
  }

  const [first, second] = block.querySelectorAll("select");
  data.dates.forEach((date, k) => {
    first.add(new Option(date.label, k));
    second.add(new Option(date.label, k));
  });
  first.value = data.dates.length - 2;
  second.value = data.dates.length - 1;

  function show() {
    const [a, b] = [Number(first.value), Number(second.value)].sort((p, q) => p - q);
    const earlier = unpacked(data.dates[a]), later = unpacked(data.dates[b]);
    const panels = block.querySelectorAll("figure");
    drawn(panels[0].querySelector("canvas"), overPlane(earlier));
    drawn(panels[1].querySelector("canvas"), overPlane(later));
    drawn(panels[2].querySelector("canvas"), difference(earlier, later));
    panels[0].querySelector("b").textContent = earlier.label;
    panels[1].querySelector("b").textContent = later.label;
    panels[2].querySelector("b").textContent = fill(data.words.title, { earlier: earlier.label, later: later.label });
    const text = a === b ? data.words.same : said(earlier, later);
    block.querySelector("[role=status]").textContent = text;
    [earlier.label, later.label, text].forEach((t, k) => panels[k].querySelector("canvas").setAttribute("aria-label", t));
  }
  first.addEventListener("change", show);
  second.addEventListener("change", show);
  block.hidden = false;
  show();
})();
