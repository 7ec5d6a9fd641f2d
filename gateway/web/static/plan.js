// The plan page: what stands on the sliders is asked of the gateway, which answers in words and a picture.
"use strict";

(() => {
  const form = /** @type {HTMLFormElement} */ (document.getElementById("plan-form"));
  const picture = /** @type {HTMLImageElement} */ (document.getElementById("plan-picture"));
  const link = /** @type {HTMLAnchorElement} */ (document.getElementById("plan-link"));
  /** @type {AbortController|null} */ let asking = null;
  let timer = 0;

  const address = () => String(new URLSearchParams(/** @type {any} */ (new FormData(form))));

  /** @param {string} id @param {string} text */
  function say(id, text) {
    const element = /** @type {HTMLElement} */ (document.getElementById(id));
    if (element.textContent !== text) element.textContent = text;
  }

  async function ask() {
    if (asking) asking.abort();
    asking = new AbortController();
    try {
      const answer = await fetch(`/plan/words?${address()}`, { signal: asking.signal });
      const { sentence, words, picture: drawn, file } = await answer.json();
      say("plan-sentence", sentence);
      say("plan-words", words);
      say("plan-file", file);
      picture.hidden = !drawn;
      if (drawn) picture.src = drawn;
      link.href = `/plan?${address()}`;
      history.replaceState(null, "", link.href);
    } catch (error) {
      if (/** @type {Error} */ (error).name !== "AbortError") say("plan-sentence", form.dataset.lost || "");
    }
  }

  /** @param {Event} event */
  function changed(event) {
    const input = /** @type {HTMLInputElement} */ (event.target), said = input.closest("label")?.querySelector("output");
    if (said) said.textContent = input.value;
    if (input.name === "dryer")
      for (const each of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-dryer]")))
        each.hidden = each.dataset.dryer !== input.value;
    clearTimeout(timer);
    timer = setTimeout(ask, 120);
  }
  for (const name of ["input", "change"]) form.addEventListener(name, changed); // some selects say only the second
  form.addEventListener("submit", (event) => { event.preventDefault(); ask(); });
  link.href = `/plan?${address()}`;
})();
