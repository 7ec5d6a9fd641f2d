// The page one is on stays in sight in the row of pages, which a phone can push.
"use strict";

(() => {
  const here = document.querySelector(".places [aria-current]");
  if (here) here.parentElement.parentElement.scrollLeft = here.offsetLeft - 48;
})();
