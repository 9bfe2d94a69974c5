"use strict";
// On paper every folded block lies open; afterwards each is as its reader left it.
(function () {
  let shut = [];
  addEventListener("beforeprint", () => {
    shut = [...document.querySelectorAll("details:not([open])")];
    shut.forEach((block) => (block.open = true));
  });
  addEventListener("afterprint", () => shut.forEach((block) => (block.open = false)));
})();
