"use strict";
// Chooses a site, and a budget step. Everything is on the page without it: it only hides and shows, and computes nothing.
(function () {
  const $ = (id) => document.getElementById(id), every = (query) => [...document.querySelectorAll(query)];
  const fill = (text, given) => text.replace(/\{(\w+)\}/g, (_, name) => given[name]);

  // A site: the rest is hidden; on the map it is drawn faint, since where it lies is still of use. The address keeps the choice.
  const only = $("only");
  if (only) {
    const words = JSON.parse($("site-words").textContent), select = $("site"), said = $("site-said"), from = /^#site=([a-z0-9-]+)$/;
    const known = (site) => [...select.options].some((o) => o.value === site);
    const show = (site) => {
      for (const part of every("[data-site]")) {
        const off = site !== "" && !part.dataset.site.split(" ").includes(site);
        if (part instanceof SVGElement) part.classList.toggle("faint", off);
        else part.hidden = off;
      }
      for (const line of every("[data-empty]")) line.hidden = site === "" || every("#" + line.dataset.empty + " ~ .box").some((b) => !b.hidden);
      const shown = every("tr.ranked").filter((r) => !r.hidden).length, name = select.selectedOptions[0].dataset.name;
      said.textContent = site === "" ? "" : fill(words.some, { shown, all: every("tr.ranked").length, site: name });
    };
    const choose = (site) => {
      select.value = known(site) ? site : "";
      show(select.value);
    };
    only.querySelector("p[hidden]").hidden = false;
    select.addEventListener("change", () => {
      show(select.value);
      if (select.value === "") said.textContent = words.all;
      history.replaceState(null, "", select.value === "" ? location.pathname + location.search : "#site=" + select.value);
    });
    window.addEventListener("hashchange", () => {
      const asked = location.hash.match(from);
      if (asked) choose(asked[1]);
    });
    choose((location.hash.match(from) || ["", ""])[1]);
  }

  // A budget step: one of those that were worked out in advance.
  const steps = $("budget-steps");
  if (steps) {
    const slider = $("budget"), parts = [...steps.querySelectorAll(".step")], marks = every(".step-mark");
    const show = () => {
      for (const part of parts) part.hidden = part.dataset.step !== slider.value;
      for (const mark of marks) mark.classList.toggle("at", mark.dataset.step === slider.value);
      slider.setAttribute("aria-valuetext", parts[Number(slider.value)].dataset.said);
    };
    slider.addEventListener("input", show);
    slider.value = steps.dataset.owner;
    steps.hidden = false;
    $("all-steps").open = false;
    show();
  }
})();
