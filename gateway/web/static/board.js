// Follows the stream and keeps the last values. The age of the board is the server's word plus what has passed
// here since it came; the phone's own clock is never asked.
"use strict";

(() => {
  const QUIET_MS = 3500; // the server speaks every second, so this long a silence is a lost link
  const OLD_MS = 10000; // the link is there but the board stands still
  const RETRY_MS = 1000;
  const link = document.getElementById("link");
  const board = document.getElementById("board");
  let source = null;
  let lastId = "";
  let at = ""; // site time of the values below
  let heardAt = performance.now();
  let state = "connecting"; // connecting | live | lost
  let ageMs = 0; // as the server said when it last spoke
  let hasBoard = false;

  function say(name, text) {
    if (link.dataset.state !== name) link.dataset.state = name;
    if (link.textContent !== text) link.textContent = text; // a repeated text would be read aloud again
    board.classList.toggle("past", name === "old" || name === "lost");
  }

  function tell() {
    const since = performance.now() - heardAt;
    if (state !== "lost" && since > QUIET_MS) lose();
    const below = at ? `Values below are from ${at}` : "No values yet";
    if (state === "lost") say("lost", `Connection lost. ${below}`);
    else if (state === "connecting") say("connecting", "Connecting");
    else if (!hasBoard) say("old", `The gateway has no board. ${below}`);
    else if (ageMs + since > OLD_MS) say("old", `No new values. ${below}`);
    else say("live", "Live");
  }

  function heard(newAge) {
    heardAt = performance.now();
    ageMs = newAge;
    state = "live";
    tell();
  }

  // A person may be in the middle of something: what was chosen or typed and where the focus was stay.
  function replace(section, html) {
    const kept = new Map();
    const at = document.activeElement;
    section.querySelectorAll("form[data-act]").forEach((form) => {
      const fields = [...form.elements].map((field) => (field.type === "hidden" ? null : field.value));
      kept.set(form.dataset.act, [fields, [...form.elements].indexOf(at), form.querySelector(".answer")?.textContent]);
    });
    const open = [...section.querySelectorAll("details[open]")].map((each) => each.dataset.act);
    section.innerHTML = html;
    section.querySelectorAll("details").forEach((each) => { each.open = open.includes(each.dataset.act); });
    section.querySelectorAll("form[data-act]").forEach((form) => {
      const [fields, focus, said] = kept.get(form.dataset.act) || [[], -1, ""];
      fields.forEach((value, n) => { if (value !== null && form.elements[n]) form.elements[n].value = value; });
      if (form.querySelector(".answer")) form.querySelector(".answer").textContent = said || "";
      if (focus >= 0) form.elements[focus]?.focus({ preventScroll: true });
    });
  }

  function show(event) {
    const news = JSON.parse(event.data);
    for (const [name, html] of Object.entries(news.sections)) replace(document.getElementById(name), html);
    const waiting = document.getElementById("waiting");
    if (waiting) waiting.remove();
    lastId = event.lastEventId;
    at = news.at;
    hasBoard = true;
    heard(news.server_ms - news.utc_ms);
  }

  function showTime(event) {
    const news = JSON.parse(event.data);
    hasBoard = news.board;
    heard(news.age_ms);
  }

  function lose() {
    if (source) source.close();
    source = null;
    state = "lost";
    setTimeout(connect, RETRY_MS);
    tell();
  }

  // The browser's own reconnect gives up after an error answer, so each try opens a new stream.
  function connect() {
    if (source) return;
    const mine = new EventSource(`/live?last=${encodeURIComponent(lastId)}`);
    source = mine;
    mine.addEventListener("board", show);
    mine.addEventListener("time", showTime);
    mine.addEventListener("ended", () => location.reload()); // signed out somewhere else
    mine.onerror = () => { if (source === mine) lose(); };
    if (state === "lost") setTimeout(() => { if (source === mine && state === "lost") lose(); }, 5000);
  }

  async function send(form) {
    const button = form.querySelector("button");
    const answer = form.querySelector(".answer");
    button.disabled = true;
    answer.textContent = "Sending";
    try {
      const reply = await fetch(form.action, {
        method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams(new FormData(form)),
      });
      const { error } = await reply.json();
      answer.textContent = error || "Done";
      button.disabled = !error;
    } catch {
      answer.textContent = "The gateway did not answer. Try again.";
      button.disabled = false;
    }
  }

  document.addEventListener("submit", (event) => {
    if (!event.target.matches("form[data-act]")) return;
    event.preventDefault();
    send(event.target);
  });
  const shown = /\d\d:\d\d:\d\d/.exec(link.textContent);
  if (shown) at = shown[0];
  setInterval(tell, 500);
  connect();
  tell();
})();
