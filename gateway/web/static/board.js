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
  const sections = {};
  const spanish = document.documentElement.lang === "es";
  const say_ = (english, other) => (spanish ? other : english);

  function say(name, text) {
    if (link.dataset.state !== name) link.dataset.state = name;
    if (link.textContent !== text) link.textContent = text; // a repeated text would be read aloud again
    board.classList.toggle("past", name === "old" || name === "lost");
  }

  function tell() {
    const since = performance.now() - heardAt;
    if (state !== "lost" && since > QUIET_MS) lose();
    const below = at
      ? say_(`Values below are from ${at}`, `Los valores de abajo son de las ${at}`)
      : say_("No values yet", "Aún no hay valores");
    if (state === "lost") say("lost", say_(`Connection lost. ${below}`, `Sin conexión. ${below}`));
    else if (state === "connecting") say("connecting", say_("Connecting", "Conectando"));
    else if (!hasBoard) say("old", say_(`The gateway has no board. ${below}`, `La pasarela no tiene tablero. ${below}`));
    else if (ageMs + since > OLD_MS) say("old", say_(`No new values. ${below}`, `Sin valores nuevos. ${below}`));
    else say("live", say_("Live", "En vivo"));
  }

  function heard(newAge) {
    heardAt = performance.now();
    ageMs = newAge;
    state = "live";
    tell();
  }

  // A person may be in the middle of something: a form that is in use stays as it is, with its focus.
  function replace(section, html) {
    const at = document.activeElement;
    const used = new Map();
    section.querySelectorAll("form[data-act]").forEach((form) => {
      if (form.contains(at) || form.closest("details[open]") || form.querySelector(".answer")?.textContent) {
        used.set(form.dataset.act, form);
      }
    });
    const open = [...section.querySelectorAll("details[open]")].map((each) => each.dataset.act);
    const summary = section.contains(at) && at.tagName === "SUMMARY" ? at.parentElement.dataset.act : null;
    section.innerHTML = html;
    section.querySelectorAll("details").forEach((each) => {
      each.open = open.includes(each.dataset.act);
      if (each.dataset.act === summary) each.querySelector("summary").focus({ preventScroll: true });
    });
    section.querySelectorAll("form[data-act]").forEach((form) => {
      const mine = used.get(form.dataset.act);
      if (!mine) return;
      form.replaceWith(mine);
      if (mine.contains(at)) at.focus({ preventScroll: true });
    });
  }

  // What was seen last outlives a reload without a link, where the browser keeps the page for us.
  function keep(news) {
    try { localStorage.setItem("board", JSON.stringify(news)); } catch { /* full or not allowed: then not */ }
  }

  function showKept() {
    const kept = JSON.parse(localStorage.getItem("board") || "null");
    if (!kept || kept.utc_ms <= Number(board.dataset.utc || 0)) return;
    for (const [name, html] of Object.entries(kept.sections)) {
      const section = document.getElementById(name);
      if (section) replace(section, html);
    }
    at = kept.at;
    board.dataset.utc = kept.utc_ms;
  }

  function show(event) {
    const news = JSON.parse(event.data);
    for (const [name, html] of Object.entries(news.sections)) replace(document.getElementById(name), html);
    Object.assign(sections, news.sections);
    board.dataset.utc = news.utc_ms;
    keep({ at: news.at, utc_ms: news.utc_ms, sections });
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
    if (!hasBoard) showKept();
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

  // A picture is drawn again, smaller: it goes quicker, and where and with what it was taken stays on the phone.
  async function smaller(file) {
    try {
      const picture = await createImageBitmap(file);
      const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      return await new Promise((done) => { canvas.toBlob((blob) => done(blob || file), "image/jpeg", 0.85); });
    } catch {
      return file;
    }
  }

  async function body(form, button) {
    const data = new FormData(form);
    if (button && button.name) data.set(button.name, button.value);
    if (form.enctype !== "multipart/form-data") return new URLSearchParams(data);
    const file = data.get("photo");
    if (file && file.size) data.set("photo", await smaller(file), "photo.jpg");
    else data.delete("photo");
    return data;
  }

  async function send(form, button) {
    const buttons = form.querySelectorAll("button");
    const answer = form.querySelector(".answer");
    buttons.forEach((each) => { each.disabled = true; });
    answer.textContent = say_("Sending", "Enviando");
    let error;
    try {
      const reply = await fetch(form.action, {
        method: "POST", headers: { Accept: "application/json" }, body: await body(form, button),
      });
      ({ error } = await reply.json());
    } catch {
      error = say_("The gateway did not answer. Try again.", "La pasarela no respondió. Inténtelo de nuevo.");
    }
    buttons.forEach((each) => { each.disabled = false; });
    answer.textContent = error || say_("Done", "Hecho");
    if (error) return;
    form.reset();
    setTimeout(() => {
      answer.textContent = "";
      const around = form.closest("details");
      if (around) around.open = false;
    }, 2500);
  }

  document.addEventListener("submit", (event) => {
    if (!event.target.matches("form[data-act]")) return;
    event.preventDefault();
    send(event.target, event.submitter);
  });
  const shown = /\d\d:\d\d:\d\d/.exec(link.textContent);
  if (shown) at = shown[0];
  if (navigator.serviceWorker) navigator.serviceWorker.register("/sw.js").catch(() => {});
  setInterval(tell, 500);
  connect();
  tell();
})();
