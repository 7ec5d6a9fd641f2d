// The history page: stacked panels on one time axis, drawn on canvas. No library, no inline style, plain ES2020.
// What it draws comes as columns from /history/data; hovering draws on a canvas of its own and never the lines again.
"use strict";

/** @typedef {{count: number, total_s: number, longest_s: number, of_s: number}} Gaps */
/** @typedef {{channel: string, label: string, low: (number|null)[]|null, mean: (number|null)[], high: (number|null)[]|null,
 *   known: number[], gaps: Gaps, point: boolean}} Line */
/** @typedef {{label: string, clause: string, least: boolean, value: number, from: number, until: number,
 *   lines: number[]}} Limit */
/** @typedef {{id: string, title: string, unit: string, digits: number, lines: Line[], limits: Limit[]}} Panel */
/** @typedef {{from: number, until: number, label: string, cause?: string, number?: string, acknowledged?: number|null,
 *   reason?: string}} Span */
/** @typedef {{from: number, until: number, now: number, begin: number, each: number, tier: string, panels: Panel[],
 *   activities: {area: string, activity: string, from: number, until: number}[],
 *   absences: {from: number, until: number, cause: string}[],
 *   alarms: {number: string, label: string, from: number, until: number, cause: string,
 *   acknowledged: number|null}[]}} Values */
/** @typedef {{section: HTMLElement, box: HTMLElement, lines: HTMLCanvasElement, over: HTMLCanvasElement,
 *   read: HTMLElement[], height: number, draw: (c: CanvasRenderingContext2D, width: number) => void,
 *   scale: {low: number, high: number}|null, panel: Panel|null, tell?: () => void}} Row */

(() => {
  const root = /** @type {HTMLElement} */ (document.getElementById("history"));
  const MINUTE = 60000, HOUR = 60 * MINUTE, DAY = 24 * HOUR;
  const LEAST_SPAN = 5 * MINUTE, MOST_SPAN = 2 * 366 * DAY;
  const STEPS = [MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR,
    DAY, 2 * DAY, 5 * DAY, 10 * DAY, 30 * DAY, 90 * DAY];
  const DASHES = [[], [9, 4], [2, 3], [12, 3, 2, 3], [5, 5], [1, 5]];
  const LETTERS = "abcdefghijklmnopqrstuvwxyz";
  const WHOLE = 1000, FIRST = 360;
  const zone = root.dataset.zone || "UTC";
  const place = root.dataset.place || "";
  /** @type {Record<string, string>} */ const WORDS = JSON.parse(root.dataset.words || "{}");
  /** A text in the reader's language; each {} stands for a piece. @param {string} text @param {...(string|number)} pieces */
  const t = (text, ...pieces) => (WORDS[text] ?? text).replace(/\{\}/g, () => String(pieces.shift()));
  // What the gateway says of tiers and causes: t("quarters of an hour") t("six hours") t("the entries")
  // t("outside limits") t("exposure") t("finding")
  const view = { from: Number(root.dataset.from), until: Number(root.dataset.until) };
  /** @type {Values|null} */ let values = null;
  /** @type {number|null} */ let cursor = Number(root.dataset.at) || null; // UTC ms
  /** @type {Row[]} */ let rows = [];
  /** @type {AbortController|null} */ let asking = null;
  let timer = 0, shownFrom = "", frame = 0;

  const status = /** @type {HTMLElement} */ (document.getElementById("history-status"));
  const stack = /** @type {HTMLElement} */ (document.getElementById("history-stack"));
  const read = /** @type {HTMLElement} */ (document.getElementById("history-read"));
  const table = /** @type {HTMLDetailsElement} */ (document.getElementById("history-table"));

  // ---- words -------------------------------------------------------------------------------------

  const language = document.documentElement.lang === "es" ? "es" : "en-GB";
  /** @param {Intl.DateTimeFormatOptions} options */
  const formatted = (options) => {
    const made = new Intl.DateTimeFormat(language, { timeZone: zone, hourCycle: "h23", ...options });
    return (/** @type {number} */ ms) => made.format(ms);
  };
  const two = /** @type {const} */ ("2-digit");
  const clock = formatted({ hour: two, minute: two });
  const seconds = formatted({ hour: two, minute: two, second: two });
  const dayMonth = formatted({ day: "numeric", month: "short" });
  const full = formatted({ weekday: "short", day: "numeric", month: "short", hour: two, minute: two });
  const parts = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", year: "numeric", month: two,
    day: two, hour: two, minute: two, second: two });

  /** How far site time is ahead of UTC at a moment. @param {number} ms */
  function ahead(ms) {
    const at = /** @type {Record<string, number>} */ ({});
    for (const { type, value } of parts.formatToParts(ms)) at[type] = Number(value);
    return Date.UTC(at.year, at.month - 1, at.day, at.hour, at.minute, at.second) - Math.floor(ms / 1000) * 1000;
  }

  /** @param {number} s */
  function lasting(s) {
    if (s < 120) return `${Math.round(s)} s`;
    if (s < 7200) return `${Math.round(s / 60)} min`;
    return s < 2 * 86400 ? `${(s / 3600).toFixed(1)} h` : `${(s / 86400).toFixed(1)} d`;
  }

  /** @param {number|null|undefined} value @param {number} digits */
  const written = (value, digits) => (value === null || value === undefined ? t("unknown")
    : value.toFixed(digits).replace("-", "\u2212"));

  /** @param {string} name @param {string} [text] @param {string} [kind] */
  function made(name, text = "", kind = "") {
    const element = document.createElement(name);
    if (text) element.textContent = text;
    if (kind) element.className = kind;
    return element;
  }

  // ---- the view ----------------------------------------------------------------------------------

  const address = () => new URLSearchParams({ place, from: new Date(view.from).toISOString(),
    until: new Date(view.until).toISOString() });

  /** @param {number} from @param {number} until */
  function look(from, until) {
    const span = Math.min(MOST_SPAN, Math.max(LEAST_SPAN, until - from)), middle = (from + until) / 2;
    view.from = Math.round(middle - span / 2);
    view.until = Math.round(middle + span / 2);
    drawSoon();
    clearTimeout(timer);
    timer = setTimeout(ask, 180);
  }

  /** @param {number} share */
  const pan = (share) => look(view.from + share * (view.until - view.from), view.until + share * (view.until - view.from));

  /** @param {number} factor @param {number} [at] */
  function zoom(factor, at = cursor ?? (view.from + view.until) / 2) {
    const span = Math.min(MOST_SPAN, Math.max(LEAST_SPAN, (view.until - view.from) * factor));
    const share = (at - view.from) / (view.until - view.from);
    look(at - share * span, at + (1 - share) * span);
  }

  async function ask() {
    if (asking) asking.abort();
    const mine = asking = new AbortController();
    const asked = address();
    history.replaceState(null, "", `?${asked}`);
    for (const link of /** @type {NodeListOf<HTMLAnchorElement>} */ (document.querySelectorAll("a[data-keep]")))
      link.href = `${link.dataset.keep}?${asked}`;
    const columns = Math.max(60, Math.min(1440, Math.round(stack.clientWidth)));
    asked.set("columns", String(columns));
    status.textContent = t("Fetching");
    try {
      const first = root.dataset.first || "";
      root.dataset.first = "";
      if (first) show(await fetched(first, mine, {})); // its answer is on its way since the page began to load
      const wide = first && columns < 1.3 * FIRST ? /** @type {Values} */ (values) : await fetched(`/history/data?${asked}`, mine);
      if (wide !== values) show(wide);
      if (!wide.each || wide.each <= (view.until - view.from) / 240 || view.until - view.from > DAY) return;
      status.textContent += ` ${t("Working out the minutes from the entries.")}`;
      asked.set("fine", "1");
      const fine = await fetched(`/history/data?${asked}`, mine);
      if (share(fine) > share(wide) - 0.02) show(fine);
      else status.textContent = `${words(wide)} ${t("The entries of this range are not all here any more, or came late.")}`;
    } catch (error) {
      if (/** @type {Error} */ (error).name !== "AbortError")
        status.textContent = t("Not fetched: {}. What is drawn may be older.", /** @type {Error} */ (error).message.replace(/\.$/, ""));
    }
  }

  /** @param {string} from @param {AbortController} mine @param {Record<string, string>} [headers] @returns {Promise<Values>} */
  async function fetched(from, mine, headers = { Accept: "application/json" }) { // with it, why not comes in words
    const answer = await fetch(from, { signal: mine.signal, headers });
    if ((answer.headers.get("content-type") || "").startsWith("application/json")) {
      const said = await answer.json();
      if (answer.ok) return said;
      throw new Error(said.error || t("the gateway answered {}", answer.status));
    }
    throw new Error(t("the gateway answered {}", answer.status));
  }

  /** How much of the range is known, over all lines. @param {Values} v */
  function share(v) {
    const known = v.panels.flatMap((panel) => panel.lines.flatMap((line) => line.known));
    return known.length ? known.reduce((sum, each) => sum + each, 0) / known.length / WHOLE : 0;
  }

  /** @param {Values} v */
  function show(v) {
    values = v;
    build(v);
    drawSoon();
    tellCursor();
    status.textContent = words(v);
    if (table.open) fillTable();
    root.dataset.ready = v.tier;
  }

  /** @param {Values} v */
  const words = (v) => t("{} to {}, site time; {}", full(v.from), full(v.until), tierWords(v));

  /** @param {Values} v */
  const tierWords = (v) => (!v.each ? t("Nothing is known of this range.")
    : t("{} a column, from {}.", lasting(v.each / 1000), t(v.tier)));

  // ---- the rows ----------------------------------------------------------------------------------

  /** Make the panels, or only give new values to those that are there. @param {Values} v */
  function build(v) {
    const shape = JSON.stringify(v.panels.map((p) => [p.id, p.unit, p.lines.map((l) => l.channel)]));
    if (shape !== shownFrom) {
      shownFrom = shape;
      rows = [];
      stack.replaceChildren(axisRow().section);
      for (const panel of v.panels) panelRow(panel);
      waterRow();
      ribbonRow("activities", t("Activities"), () => activities());
      ribbonRow("alarms", t("Alarms"), () => alarms());
      ribbonRow("absences", t("Broker away"), () => absences());
    }
    const panelRows = rows.filter((row) => row.panel);
    v.panels.forEach((panel, at) => { panelRows[at].panel = panel; panelRows[at].scale = scaleOf(panel); tellGaps(panelRows[at]); });
    for (const one of rows) if (one.tell) one.tell();
  }

  /** @param {string} title @param {number} height @param {Row["draw"]} draw @param {Panel|null} panel */
  function row(title, height, draw, panel = null) {
    const section = made("section", "", "trace"), box = made("div", "", "trace-box");
    const lines = document.createElement("canvas"), over = document.createElement("canvas");
    lines.className = "trace-lines";
    over.className = "trace-over";
    lines.setAttribute("role", "img");
    lines.setAttribute("aria-label", title ? t("{}, drawn; the same values are in the table below", title) : t("time axis"));
    over.setAttribute("aria-hidden", "true");
    box.style.height = `${height}px`;
    if (title) section.append(made("h2", title));
    box.append(lines, over);
    section.append(box);
    /** @type {Row} */ const one = { section, box, lines, over, read: [], height, draw, scale: null, panel };
    rows.push(one);
    return one;
  }

  function axisRow() {
    const one = row("", 24, (c, width) => {
      c.font = font(13);
      c.fillStyle = ink("--ink");
      c.textBaseline = "middle";
      for (const { at, text } of ticks(width)) {
        const wide = c.measureText(text).width / 2;
        c.fillText(text, Math.min(width - 2 * wide, Math.max(0, x(at, width) - wide)), 12);
      }
    });
    one.section.classList.add("trace-axis");
    return one;
  }

  /** @param {Panel} panel */
  function panelRow(panel) {
    const first = !rows.some((each) => each.panel);
    const one = row(`${panel.title}, ${panel.unit}`, first ? 190 : 130, (c, width) => drawPanel(c, width, one), panel);
    one.section.dataset.panel = panel.id;
    const key = made("ul", "", "trace-key");
    panel.lines.forEach((line, at) => {
      const item = made("li"), said = made("b", "", "trace-said");
      item.append(made("i", LETTERS[at % 26]), document.createTextNode(` ${line.label} `), said);
      one.read.push(said);
      key.append(item);
    });
    if (!panel.lines.length) key.append(made("li", t("Nothing of this is measured or worked out here.")));
    for (const limit of panel.limits.slice(0, 4))
      key.append(made("li", t("limit: {} {} ({})", limit.label, panel.unit, limit.clause), "trace-limit"));
    one.section.append(key, made("p", "", "trace-gaps"));
    stack.append(one.section);
  }

  /** @param {Row} one */
  function tellGaps(one) {
    const lines = one.panel ? one.panel.lines : [], worst = [...lines].sort((a, b) => b.gaps.total_s - a.gaps.total_s)[0];
    const said = one.section.querySelector(".trace-gaps");
    if (!said || !worst || !worst.gaps.of_s) return;
    const { count, total_s: total, longest_s: longest, of_s: of } = worst.gaps;
    if (!count) { said.textContent = one === rows.find((each) => each.panel) ? t("Known all the time.") : ""; return; }
    const gaps = count === 1 ? t("Unknown {} of {} in 1 gap.", lasting(total), lasting(of))
      : t("Unknown {} of {} in {} gaps, the longest {}.", lasting(total), lasting(of), count, lasting(longest));
    said.textContent = lines.length > 1 ? `${t("At worst, {}:", worst.label)} ${gaps[0].toLowerCase()}${gaps.slice(1)}` : gaps;
  }

  function waterRow() {
    if (values && values.panels.some((panel) => panel.id === "drain_count")) return;
    const one = row(t("Water drained"), 24, (c, width) => hatch(c, 0, 0, Math.min(width, x(values ? values.now : 0, width)), 24));
    one.section.append(made("p", t("Not measured: no drain of this jobsite is weighed or metered."), "trace-gaps"));
    stack.append(one.section);
  }

  /** @param {string} id @param {string} title @param {() => {spans: Span[], none: string}} say */
  function ribbonRow(id, title, say) {
    const said = made("ul", "", "trace-key");
    const one = row(title, 26, (c, width) => {
      const lanes = /** @type {number[]} */ ([]);
      c.fillStyle = ink("--ground");
      c.fillRect(0, 0, Math.min(width, x(values ? values.now : 0, width)), one.height);
      for (const span of say().spans) {
        const free = lanes.findIndex((until) => until <= span.from), lane = free < 0 ? lanes.length : free;
        lanes[lane] = span.until;
        drawSpan(c, width, span, 26 * lane);
      }
    });
    one.tell = () => {
      const { spans, none } = say(), lanes = deepest(spans);
      one.height = 26 * Math.max(1, lanes);
      one.box.style.height = `${one.height}px`;
      said.replaceChildren(...(spans.length ? spans.slice(-6).map((each) => made("li", spanWords(each))) : [made("li", none)]));
      if (spans.length > 6) said.prepend(made("li", t("{} in all; the newest:", spans.length)));
    };
    one.section.dataset.panel = id;
    one.section.append(said);
    stack.append(one.section);
  }

  /** How many stand at once, at most. @param {Span[]} spans */
  function deepest(spans) {
    const lanes = /** @type {number[]} */ ([]);
    for (const span of spans) {
      const free = lanes.findIndex((until) => until <= span.from);
      lanes[free < 0 ? lanes.length : free] = span.until;
    }
    return lanes.length;
  }

  /** @param {Span} span */
  const spanWords = (span) => `${span.number ? `${span.number} ` : ""}${span.label.replace(/\.$/, "")}: `
    + `${full(span.from)} ${t("to")} ${span.until >= (values ? values.now : 0) ? t("now") : full(span.until)}`
    + `${span.cause ? `, ${t(span.cause)}` : ""}`
    + `${span.acknowledged ? `, ${t("acknowledged {}", clock(span.acknowledged))}` : ""}`;

  function activities() {
    const spans = values ? values.activities.map((each) => ({ ...each, label: t("{}, area {}", each.activity, each.area) })) : [];
    return { spans, none: t("Nobody entered an activity: all limits were judged.") };
  }

  function alarms() {
    return { spans: values ? values.alarms : [], none: t("No alarm stood in this range.") };
  }

  function absences() {
    const label = t("Nothing was heard; where the broker itself failed, what it took in the 10 s before may be lost");
    return { spans: values ? values.absences.map((each) => ({ ...each, label })) : [], none: t("The broker was there all the time.") };
  }

  // ---- drawing -----------------------------------------------------------------------------------

  /** @type {Record<string, string>} */ let inks = {}; // asking the style is slow; begun anew with every drawing
  const ink = (/** @type {string} */ name) => (inks[name] ??= getComputedStyle(root).getPropertyValue(name).trim());
  const font = (/** @type {number} */ size) => `600 ${size}px ${(inks.family ??= getComputedStyle(root).fontFamily)}`;
  /** @param {number} at @param {number} width */
  const x = (at, width) => ((at - view.from) / (view.until - view.from)) * width;

  function drawSoon() {
    if (!frame) frame = requestAnimationFrame(() => { frame = 0; drawAll(); });
  }

  function drawAll() {
    inks = {};
    for (const one of rows) {
      const c = sized(one.lines, one);
      one.draw(c, one.box.clientWidth);
    }
    drawCursor();
    if (values) performance.mark("history drawn");
  }

  /** A canvas as wide as its box and as sharp as the screen, cleared. @param {HTMLCanvasElement} canvas @param {Row} one */
  function sized(canvas, one) {
    const sharp = Math.min(2, window.devicePixelRatio || 1), width = one.box.clientWidth;
    if (canvas.width !== Math.round(width * sharp) || canvas.height !== Math.round(one.height * sharp)) {
      canvas.width = Math.round(width * sharp);
      canvas.height = Math.round(one.height * sharp);
    }
    const c = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    c.setTransform(sharp, 0, 0, sharp, 0, 0);
    c.clearRect(0, 0, width, one.height);
    return c;
  }

  /** @param {number} width */
  function ticks(width) {
    const span = view.until - view.from;
    const step = STEPS.find((each) => (span / each) * 74 <= width) || STEPS[STEPS.length - 1];
    const found = [], shift = ahead(view.from);
    for (let local = Math.ceil((view.from + shift) / step) * step; ; local += step) {
      const at = local - ahead(local - shift), midnight = local % DAY === 0; // marks stay on the hour when clocks change
      if (at > view.until) return found;
      found.push({ at, text: midnight ? dayMonth(at) : clock(at), strong: midnight });
    }
  }

  /** @param {Panel} panel */
  function scaleOf(panel) {
    let low = Infinity, high = -Infinity;
    for (const line of panel.lines) {
      for (const value of line.low || line.mean) if (value !== null && value < low) low = value;
      for (const value of line.high || line.mean) if (value !== null && value > high) high = value;
    }
    for (const limit of panel.limits) { low = Math.min(low, limit.value); high = Math.max(high, limit.value); }
    if (panel.id.endsWith("margin")) { low = Math.min(low, 0); high = Math.max(high, 1); }
    if (!Number.isFinite(low)) return null;
    const least = panel.unit === "bar" ? 0.1 : 2, missing = Math.max(0, least - (high - low)) / 2;
    const edge = (high - low + 2 * missing) * 0.08;
    return { low: low - missing - edge, high: high + missing + edge };
  }

  /** @param {{low: number, high: number}} scale @param {number} tall */
  function marks(scale, tall) {
    const rough = (scale.high - scale.low) / Math.max(2, Math.floor(tall / 26));
    const power = 10 ** Math.floor(Math.log10(rough)), step = [1, 2, 5, 10].map((d) => d * power).find((s) => s >= rough) || rough;
    const found = [];
    for (let at = Math.ceil(scale.low / step) * step; at <= scale.high; at += step) found.push(at);
    return { found, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
  }

  /** @param {CanvasRenderingContext2D} c @param {number} left @param {number} top @param {number} width @param {number} tall */
  function hatch(c, left, top, width, tall) {
    if (width <= 0) return;
    c.save();
    c.beginPath();
    c.rect(left, top, width, tall);
    c.clip();
    c.fillStyle = ink("--ground");
    c.fillRect(left, top, width, tall);
    c.strokeStyle = ink("--plain");
    c.lineWidth = 2;
    c.beginPath();
    for (let at = Math.floor((left - tall) / 8) * 8; at < left + width; at += 8) {
      c.moveTo(at, top + tall);
      c.lineTo(at + tall, top);
    }
    c.stroke();
    c.restore();
  }

  /** @param {CanvasRenderingContext2D} c @param {number} width @param {Row} one */
  function drawPanel(c, width, one) {
    const panel = one.panel, v = values, tall = one.height;
    if (!panel || !v) return;
    drawGround(c, width, tall, one);
    if (!one.scale) return;
    const { low, high } = one.scale;
    const y = (/** @type {number} */ value) => tall - ((value - low) / (high - low)) * tall;
    if (panel.lines.some((line) => line.point)) drawGap(c, width, y, panel);
    for (const limit of panel.limits) drawLimit(c, width, y, tall, limit, panel);
    panel.lines.forEach((line, at) => drawLine(c, width, y, line, at));
    drawMarks(c, width, tall, one);
  }

  /** Grid, and hatching: of all the height where nothing is known, of its foot where one line is not.
   * @param {CanvasRenderingContext2D} c @param {number} width @param {number} tall @param {Row} one */
  function drawGround(c, width, tall, one) {
    const panel = /** @type {Panel} */ (one.panel), v = /** @type {Values} */ (values);
    c.fillStyle = ink("--ground");
    c.fillRect(0, 0, Math.max(0, Math.min(width, x(v.now, width))), tall);
    c.strokeStyle = ink("--grid");
    c.lineWidth = 1;
    c.beginPath();
    for (const { at, strong } of ticks(width)) {
      const here = Math.round(x(at, width)) + 0.5;
      c.moveTo(here, strong ? 0 : 6);
      c.lineTo(here, tall);
    }
    c.stroke();
    const end = Math.min(v.now, view.until);
    if (!panel.lines.length || !v.each) { hatch(c, 0, 0, x(end, width), tall); return; }
    const most = panel.lines[0].known.map((_, at) => Math.max(...panel.lines.map((line) => line.known[at])));
    const least = panel.lines[0].known.map((_, at) => Math.min(...panel.lines.map((line) => line.known[at])));
    for (const [from, until] of unknown(least, v)) hatch(c, x(from, width), tall - 9, x(Math.min(until, end), width) - x(from, width), 9);
    for (const [from, until] of unknown(most, v)) hatch(c, x(from, width), 0, x(Math.min(until, end), width) - x(from, width), tall);
  }

  /** Stretches of time in which a column is known by less than half. @param {number[]} known @param {Values} v */
  function unknown(known, v) {
    /** @type {[number, number][]} */ const found = [];
    if (v.begin > v.from) found.push([v.from, v.begin]);
    known.forEach((share, at) => {
      const from = v.begin + at * v.each, until = from + v.each;
      if (share * 2 >= WHOLE || from >= v.now) return;
      const past = Math.min(1, (v.now - from) / v.each) * WHOLE;
      if (share * 2 >= past) return;
      const last = found[found.length - 1];
      if (last && last[1] === from) last[1] = until; else found.push([from, until]);
    });
    return found;
  }

  /** The gap: from the condensation point up to the coldest steel, or down to it.
   * @param {CanvasRenderingContext2D} c @param {number} width @param {(v: number) => number} y @param {Panel} panel */
  function drawGap(c, width, y, panel) {
    const v = /** @type {Values} */ (values), point = panel.lines.find((line) => line.point);
    const steel = panel.lines[0];
    if (!point) return;
    const wide = Math.max(1, x(v.begin + v.each, width) - x(v.begin, width) + 0.5);
    point.mean.forEach((low, at) => {
      const high = steel.mean[at];
      if (low === null || high === null) return;
      c.fillStyle = ink(high <= low ? "--trace-wet" : "--trace-gap");
      c.fillRect(x(v.begin + at * v.each, width), Math.min(y(high), y(low)), wide, Math.max(1, Math.abs(y(low) - y(high))));
    });
  }

  /** @param {CanvasRenderingContext2D} c @param {number} width @param {(v: number) => number} y @param {number} tall
   * @param {Limit} limit @param {Panel} panel */
  function drawLimit(c, width, y, tall, limit, panel) {
    const v = /** @type {Values} */ (values), from = x(limit.from, width), until = x(limit.until, width), edge = y(limit.value);
    c.fillStyle = ink("--trace-band");
    c.fillRect(from, limit.least ? edge : 0, until - from, limit.least ? tall - edge : edge);
    for (const [begin, end] of breaches(limit, panel, v)) {
      const left = x(begin, width), wide = Math.max(2, x(end, width) - left);
      c.fillStyle = ink("--trace-breach");
      c.fillRect(left, 0, wide, tall);
      c.fillStyle = ink("--red");
      c.fillRect(left, limit.least ? tall - 5 : 0, wide, 5);
    }
    c.strokeStyle = ink("--ink");
    c.lineWidth = 2;
    c.setLineDash([6, 4]);
    c.beginPath();
    c.moveTo(from, edge);
    c.lineTo(until, edge);
    c.stroke();
    c.setLineDash([]);
  }

  /** Stretches of time in which any line a limit judges was beyond it. @param {Limit} limit @param {Panel} panel @param {Values} v */
  function breaches(limit, panel, v) {
    /** @type {[number, number][]} */ const found = [];
    const worst = limit.lines.map((at) => (limit.least ? panel.lines[at].low : panel.lines[at].high) || panel.lines[at].mean);
    for (let at = 0; worst.length && at < worst[0].length; at += 1) {
      const begin = v.begin + at * v.each, end = begin + v.each, last = found[found.length - 1];
      if (end <= limit.from || begin >= limit.until) continue;
      const values = worst.map((each) => each[at]).filter((value) => value !== null);
      if (!values.some((value) => (limit.least ? value < limit.value : value > limit.value))) continue;
      if (last && last[1] === begin) last[1] = end; else found.push([begin, end]);
    }
    return found;
  }

  /** @param {CanvasRenderingContext2D} c @param {number} width @param {(v: number) => number} y @param {Line} line @param {number} number */
  function drawLine(c, width, y, line, number) {
    const v = /** @type {Values} */ (values), colour = ink(`--trace-${number % 5}`);
    const middle = (/** @type {number} */ at) => x(v.begin + (at + 0.5) * v.each, width);
    if (line.low && line.high) {
      c.fillStyle = colour;
      c.globalAlpha = 0.25;
      const wide = Math.max(1, x(v.begin + v.each, width) - x(v.begin, width));
      line.low.forEach((low, at) => {
        const high = /** @type {(number|null)[]} */ (line.high)[at];
        if (low !== null && high !== null) c.fillRect(middle(at) - wide / 2, y(high), wide, Math.max(1, y(low) - y(high)));
      });
      c.globalAlpha = 1;
    }
    c.strokeStyle = colour;
    c.lineWidth = 2;
    c.setLineDash(DASHES[number % DASHES.length]);
    c.lineJoin = "round";
    c.beginPath();
    let pen = false, lastAt = -1;
    line.mean.forEach((value, at) => {
      if (value === null) { if (line.known[at] * 2 < WHOLE) pen = false; return; } // between two readings it is known
      if (pen) c.lineTo(middle(at), y(value)); else c.moveTo(middle(at), y(value));
      if (!pen) c.lineTo(middle(at) + 0.1, y(value));
      pen = true;
      lastAt = at;
    });
    c.stroke();
    c.setLineDash([]);
    if (lastAt < 0) return;
    const last = line.mean.map((value, at) => (value !== null && middle(at) <= width - 8 ? at : -1)).reduce((a, b) => Math.max(a, b));
    if (last < 0 || middle(last) < 0) return;
    letter(c, LETTERS[number % 26], Math.min(width - 9, Math.max(9, middle(last) - 10 - 18 * (number % 4))),
      y(/** @type {number} */ (line.mean[last])), colour);
  }

  /** @param {CanvasRenderingContext2D} c @param {string} text @param {number} left @param {number} top @param {string} colour */
  function letter(c, text, left, top, colour) {
    c.fillStyle = ink("--paper");
    c.beginPath();
    c.arc(left, top, 8, 0, 7);
    c.fill();
    c.fillStyle = colour;
    c.font = font(12);
    c.textAlign = "center";
    c.textBaseline = "middle";
    c.fillText(text, left, top);
    c.textAlign = "start";
  }

  /** @param {CanvasRenderingContext2D} c @param {number} width @param {number} tall @param {Row} one */
  function drawMarks(c, width, tall, one) {
    const scale = /** @type {{low: number, high: number}} */ (one.scale), { found, digits } = marks(scale, tall);
    c.font = font(12);
    c.textBaseline = "middle";
    for (const value of found) {
      const at = tall - ((value - scale.low) / (scale.high - scale.low)) * tall;
      if (at < 8 || at > tall - 8) continue;
      const text = written(value, digits);
      c.fillStyle = ink("--trace-paper");
      c.fillRect(0, at - 8, c.measureText(text).width + 8, 16);
      c.fillStyle = ink("--ink");
      c.fillText(text, 4, at);
    }
    c.strokeStyle = ink("--rule");
    c.lineWidth = 1;
    c.strokeRect(0.5, 0.5, width - 1, tall - 1);
  }

  /** @param {CanvasRenderingContext2D} c @param {number} width @param {Span} span @param {number} top */
  function drawSpan(c, width, span, top) {
    const left = Math.max(0, x(span.from, width)), wide = Math.max(3, Math.min(width, x(span.until, width)) - left);
    if (left > width || wide < 0) return;
    if (span.cause === "unknown") hatch(c, left, top + 2, wide, 22);
    else {
      c.fillStyle = ink(!span.cause ? "--grey" : span.cause === "outside limits" ? "--red" : "--yellow");
      c.fillRect(left, top + 2, wide, 22);
    }
    c.strokeStyle = ink("--ink");
    c.lineWidth = 1;
    c.strokeRect(left + 0.5, top + 2.5, wide - 1, 21);
    const text = span.number || span.label;
    c.font = font(12);
    if (c.measureText(text).width + 10 > wide) return;
    if (span.cause === "unknown") {
      c.fillStyle = ink("--paper");
      c.fillRect(left + 3, top + 5, c.measureText(text).width + 5, 16);
    }
    c.fillStyle = ink(!span.cause ? "--on-grey" : span.cause === "outside limits" ? "--on-red"
      : span.cause === "unknown" ? "--ink" : "--on-yellow");
    c.textBaseline = "middle";
    c.fillText(text, left + 5, top + 13);
  }

  // ---- the cursor: its own canvas, and words -------------------------------------------------------

  /** @param {number|null} at @param {boolean} [aloud] */
  function point(at, aloud = false) {
    cursor = at === null ? null : Math.min(view.until, Math.max(view.from, at));
    drawCursor();
    if (aloud) read.setAttribute("aria-live", "polite"); else read.removeAttribute("aria-live");
    tellCursor();
  }

  function drawCursor() {
    for (const one of rows) {
      const c = sized(one.over, one);
      if (cursor === null || cursor < view.from || cursor > view.until) continue;
      const at = Math.round(x(cursor, one.box.clientWidth)) + 0.5;
      c.strokeStyle = ink("--ink");
      c.lineWidth = 2;
      c.beginPath();
      c.moveTo(at, 0);
      c.lineTo(at, one.height);
      c.stroke();
    }
  }

  function column() {
    return values && values.each && cursor !== null ? Math.floor((cursor - values.begin) / values.each) : -1;
  }

  function tellCursor() {
    const v = values, at = column();
    /** @type {string[]} */ const said = [];
    for (const one of rows) {
      if (!one.panel) continue;
      one.panel.lines.forEach((line, number) => {
        const words = at < 0 ? "" : lineWords(line, at, /** @type {Panel} */ (one.panel));
        if (one.read[number]) one.read[number].textContent = words;
        if (words && one === rows.find((each) => each.panel)) said.push(`${line.label} ${words}`);
      });
    }
    if (!v || at < 0 || cursor === null) { read.textContent = t("Point, tap or use the arrow keys to read values."); return; }
    const from = v.begin + at * v.each;
    const stood = v.alarms.filter((each) => each.from < from + v.each && each.until > from).map((each) => each.number);
    read.replaceChildren(made("b", `${full(from)}${v.each < MINUTE ? `:${seconds(from).slice(-2)}` : ""} `),
      `${v.each >= MINUTE ? `${t("to")} ${clock(from + v.each)} ` : ""}${said.join("; ")}${stood.length ? `; ${t("alarms {}", stood.join(", "))}` : ""} `);
    const minute = Math.floor(cursor / MINUTE) * MINUTE, link = /** @type {HTMLAnchorElement} */ (made("a", t("The entries behind {}", clock(minute))));
    link.href = `/history/entries?${new URLSearchParams({ place, at: new Date(minute).toISOString() })}`;
    link.id = "history-entries";
    read.append(link);
  }

  /** @param {Line} line @param {number} at @param {Panel} panel */
  function lineWords(line, at, panel) {
    let here = at;
    for (let back = 0; line.mean[here] === null && line.known[here] * 2 >= WHOLE && back < 600; back += 1) here -= 1;
    const mean = line.mean[here];
    if (mean === null || mean === undefined) return t("unknown");
    const band = line.low && line.high && line.low[here] !== line.high[here]
      ? ` (${written(line.low[here], panel.digits)} ${t("to")} ${written(line.high[here], panel.digits)})` : "";
    return `${written(mean, panel.digits)} ${panel.unit}${band}${part(line, at)}`;
  }

  /** How much of a column is known, where it is not all of it. @param {Line} line @param {number} at */
  const part = (line, at) => (line.known[at] < WHOLE - 5 ? `, ${t("known {} %", Math.round(line.known[at] / 10))}` : "");

  // ---- hands: pointer, wheel, keys -----------------------------------------------------------------

  /** @type {Map<number, {x: number}>} */ const fingers = new Map();
  /** @type {{from: number, until: number, x: number, moved: boolean, apart: number}|null} */ let held = null;

  /** @param {PointerEvent} event */
  const place_of = (event) => {
    const box = stack.getBoundingClientRect();
    return { x: event.clientX - box.left, width: stack.clientWidth };
  };
  /** @param {PointerEvent} event */
  const time_of = (event) => {
    const { x: at, width } = place_of(event);
    return view.from + (at / width) * (view.until - view.from);
  };
  const apart = () => { const [one, other] = [...fingers.values()]; return other ? Math.abs(one.x - other.x) : 0; };
  const middle = () => [...fingers.values()].reduce((sum, each) => sum + each.x, 0) / fingers.size;
  const hold = () => { held = fingers.size ? { ...view, x: middle(), moved: (held && held.moved) || fingers.size > 1, apart: apart() } : null; };

  stack.addEventListener("pointerdown", (event) => {
    if (!(event.target instanceof HTMLCanvasElement) || event.button) return;
    fingers.set(event.pointerId, place_of(event));
    event.target.setPointerCapture(event.pointerId);
    hold();
  });
  stack.addEventListener("pointermove", (event) => {
    if (!(event.target instanceof HTMLCanvasElement)) return;
    if (!held || !fingers.has(event.pointerId)) { point(time_of(event)); return; }
    fingers.set(event.pointerId, place_of(event));
    const width = stack.clientWidth, span = held.until - held.from;
    if (Math.abs(middle() - held.x) > 5) held.moved = true;
    if (!held.moved) return;
    const scale = held.apart > 20 && apart() > 20 ? held.apart / apart() : 1;
    const under = held.from + (held.x / width) * span, wide = Math.min(MOST_SPAN, Math.max(LEAST_SPAN, span * scale));
    const from = under - (middle() / width) * wide;
    look(from, from + wide);
  });
  for (const name of ["pointerup", "pointercancel"])
    stack.addEventListener(name, (event) => {
      const last = /** @type {PointerEvent} */ (event);
      if (!fingers.delete(last.pointerId)) return;
      if (held && !held.moved && name === "pointerup") point(time_of(last), true);
      const moved = held && held.moved;
      hold();
      if (held && moved) held.moved = true;
    });
  stack.addEventListener("pointerleave", () => { if (!held && document.activeElement !== stack) point(null); });
  stack.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY)) return; // the page scrolls
    event.preventDefault();
    const box = stack.getBoundingClientRect(), at = view.from + ((event.clientX - box.left) / box.width) * (view.until - view.from);
    if (event.ctrlKey) zoom(2 ** (event.deltaY / 200), at); else pan((event.deltaX || event.deltaY) / stack.clientWidth);
  }, { passive: false });
  stack.addEventListener("dblclick", (event) => zoom(0.5, time_of(/** @type {PointerEvent} */ (event))));

  /** @type {Record<string, (shift: boolean) => void>} */
  const KEYS = {
    ArrowLeft: (shift) => (shift ? pan(-0.25) : step(-1)),
    ArrowRight: (shift) => (shift ? pan(0.25) : step(1)),
    Home: () => point(view.from, true),
    End: () => point(Math.min(view.until, values ? values.now : view.until) - 1, true),
    PageUp: () => pan(-1),
    PageDown: () => pan(1),
    "+": () => zoom(0.5),
    "=": () => zoom(0.5),
    "-": () => zoom(2),
    Enter: () => { const link = document.getElementById("history-entries"); if (link) link.click(); },
    Escape: () => point(null),
  };
  stack.addEventListener("keydown", (event) => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act(event.shiftKey);
  });

  /** @param {number} by */
  function step(by) {
    const each = values && values.each ? values.each : (view.until - view.from) / 100;
    point(cursor === null ? (view.from + view.until) / 2 : cursor + by * each, true);
  }

  /** @type {Record<string, () => void>} */
  const BUTTONS = {
    back: () => pan(-0.5), on: () => pan(0.5), nearer: () => zoom(0.5), wider: () => zoom(2),
    now: () => { const span = view.until - view.from, now = values ? values.now : view.until; look(now - span * 0.97, now + span * 0.03); },
  };
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-act], [data-span]")))
    button.addEventListener("click", () => {
      const act = BUTTONS[button.dataset.act || ""];
      if (act) { act(); return; }
      const end = Math.min(view.until, values ? values.now : view.until), span = Number(button.dataset.span);
      look(end - span, end);
    });

  // ---- the same as a table ---------------------------------------------------------------------------

  function fillTable() {
    const v = values, holder = table.querySelector(".table-holder");
    if (!v || !holder) return;
    const lines = v.panels.flatMap((panel) => panel.lines.map((line) => ({ panel, line })));
    const sheet = made("table"), head = made("tr"), body = made("tbody");
    head.append(heading(t("From, site time"), "col"));
    for (const { panel, line } of lines) head.append(heading(`${panel.title}: ${line.label}, ${panel.unit}`, "col"));
    const count = lines.length ? lines[0].line.mean.length : 0;
    for (let at = 0; at < count; at += 1) {
      const from = v.begin + at * v.each;
      if (from >= v.now || from >= v.until || from + v.each <= v.from) continue;
      const line = made("tr");
      line.append(heading(`${full(from)}${v.each < MINUTE ? `:${seconds(from).slice(-2)}` : ""}`, "row"));
      for (const each of lines) line.append(made("td", cellWords(each.line, at, each.panel)));
      body.append(line);
    }
    const caption = made("caption", t("Mean (least to greatest) of each column of the drawing; part of it that is known, where not all."));
    const top = made("thead");
    top.append(head);
    sheet.append(caption, top, body);
    holder.replaceChildren(sheet);
  }

  /** @param {string} text @param {string} scope */
  function heading(text, scope) {
    const cell = made("th", text);
    cell.setAttribute("scope", scope);
    return cell;
  }

  /** @param {Line} line @param {number} at @param {Panel} panel */
  function cellWords(line, at, panel) {
    if (line.mean[at] === null) return line.known[at] * 2 >= WHOLE ? t("no reading fell here") : t("unknown");
    const band = line.low && line.high ? ` (${written(line.low[at], panel.digits)} ${t("to")} ${written(line.high[at], panel.digits)})` : "";
    return `${written(line.mean[at], panel.digits)}${band}${part(line, at)}`;
  }

  table.addEventListener("toggle", () => { if (table.open) fillTable(); });
  let wide = 0; // words under a panel may change its height, which changes no line
  new ResizeObserver(() => { if (stack.clientWidth !== wide) { wide = stack.clientWidth; drawSoon(); } }).observe(stack);
  for (const [name, on] of /** @type {[string, boolean][]} */ ([["beforeprint", true], ["afterprint", false]]))
    addEventListener(name, () => { root.classList.toggle("printing", on); drawAll(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawSoon);
  ask();
})();
