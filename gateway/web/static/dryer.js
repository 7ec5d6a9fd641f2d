// A test at the bench: what comes now and what it says so far are drawn anew while readings come in.
"use strict";

(() => {
  const EVERY_MS = 10_000;

  /** Only the parts marked live are replaced, so that a form half filled in stays as it is. */
  async function look() {
    if (document.hidden) return;
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of document.querySelectorAll("[data-live]")) {
      const other = fresh.getElementById(part.id);
      if (other && other.innerHTML !== part.innerHTML) part.replaceChildren(...other.childNodes);
    }
  }

  if (document.querySelector("[data-live]")) setInterval(() => look().catch(() => undefined), EVERY_MS);
})();
