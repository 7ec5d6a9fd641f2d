// The page one is on stays in sight in the row of pages, which a phone can push; signed out, nothing stays behind.
"use strict";

(() => {
  const here = document.querySelector(".places [aria-current]");
  if (!document.querySelector(".places")) { // nobody is signed in: what the board kept for a dead link goes
    try { localStorage.removeItem("board"); } catch { /* not allowed: then nothing was kept */ }
  }
  if (here) here.parentElement.parentElement.scrollLeft = here.offsetLeft - 48;
})();
