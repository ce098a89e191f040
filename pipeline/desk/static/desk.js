/* The desk's own script: choosing hours on the strips, looking elsewhere without a new page, and
   keys for verdicts. Every view is an address of the server; without this script its links and
   forms do the same. Text from outside enters by textContent only. */
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const MINUTE = 60000;
  const byId = (name) => document.getElementById(name);
  const aloud = (words) => { const at = byId("aloud"); if (at) at.textContent = words; };
  let asked = 0;

  /* Pages that show strips are swapped in place; the address says what is shown. */
  const go = async (url, how) => {
    const mine = ++asked;
    const had = document.activeElement && document.activeElement.id;
    let answer;
    try { answer = await fetch(url, { headers: { accept: "text/html" } }); } catch { location.assign(url); return; }
    const text = await answer.text();
    if (mine !== asked) return;
    const made = new DOMParser().parseFromString(text, "text/html");
    const main = made.querySelector("main");
    if (!main || !made.getElementById("strips") && answer.ok) { location.assign(url); return; }
    const open = [...document.querySelectorAll("details[open]")].map((one) => one.id);
    document.querySelector("main").replaceWith(document.adoptNode(main));
    for (const id of open) { const one = id && byId(id); if (one) one.open = true; }
    document.title = made.title;
    if (how === "push") history.pushState(null, "", url);
    if (how === "replace") history.replaceState(null, "", url);
    start();
    const again = had && byId(had);
    if (again) again.focus({ preventScroll: true });
    const heading = document.querySelector("main h1");
    if (how === "push" && heading) aloud(heading.textContent);
  };

  const stamp = (time) => new Date(Math.round(time / MINUTE) * MINUTE).toISOString().slice(0, 16) + "Z";
  const here = () => new URL(location.href);

  const strips = () => {
    const holder = byId("strips");
    if (!holder) return;
    const plots = [...holder.querySelectorAll("svg.plot")];
    if (!plots.length) return;
    const from = Date.parse(holder.dataset.from), to = Date.parse(holder.dataset.to);
    const words = (time) => new Date(time).toLocaleString("en-GB", { timeZone: holder.dataset.zone, weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const over = document.createElementNS(SVG, "svg");
    over.setAttribute("class", "over");
    over.setAttribute("aria-hidden", "true");
    const line = document.createElementNS(SVG, "line");
    const box = document.createElementNS(SVG, "rect");
    line.setAttribute("class", "cursor");
    box.setAttribute("class", "dragged");
    over.append(box, line);
    holder.append(over);
    const moment = byId("moment");
    const still = moment ? moment.textContent : "";
    let cursor = null, anchor = null, dragging = false, link = null;

    const wide = () => plots[0].getBoundingClientRect().width;
    const xOf = (time) => ((time - from) / (to - from)) * wide();
    const timeAt = (event) => {
      const box = plots[0].getBoundingClientRect();
      const part = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
      return from + part * (to - from);
    };
    const show = () => {
      const seen = cursor !== null;
      line.toggleAttribute("hidden", !seen);
      line.setAttribute("visibility", seen ? "visible" : "hidden");
      if (seen) for (const [key, value] of [["x1", xOf(cursor)], ["x2", xOf(cursor)], ["y1", 0], ["y2", "100%"]]) line.setAttribute(key, value);
      const chosen = seen && anchor !== null && anchor !== cursor;
      box.setAttribute("visibility", chosen ? "visible" : "hidden");
      if (chosen) {
        const [a, b] = [xOf(anchor), xOf(cursor)].sort((p, q) => p - q);
        for (const [key, value] of [["x", a], ["width", b - a], ["y", 0], ["height", "100%"]]) box.setAttribute(key, value);
      }
      if (moment) moment.textContent = !seen ? still : chosen ? words(Math.min(anchor, cursor)) + " to " + words(Math.max(anchor, cursor)) : words(cursor);
    };
    const choose = () => {
      const [a, b] = [anchor, cursor].sort((p, q) => p - q);
      const url = here();
      url.searchParams.set("pick", stamp(a) + ".." + stamp(b));
      go(url.href, "push");
    };
    holder.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || event.pointerType === "touch" || !event.target.closest("svg.plot")) return;
      link = event.target.closest("a");
      event.preventDefault();
      holder.focus({ preventScroll: true });
      anchor = cursor = timeAt(event);
      dragging = true;
      holder.setPointerCapture(event.pointerId);
      show();
    });
    holder.addEventListener("pointermove", (event) => {
      if (dragging || event.target.closest("svg.plot")) { cursor = timeAt(event); show(); }
    });
    holder.addEventListener("pointerup", (event) => {
      if (!dragging) return;
      dragging = false;
      cursor = timeAt(event);
      if (Math.abs(xOf(cursor) - xOf(anchor)) > 5) choose();
      else { anchor = null; show(); if (link) location.assign(link.getAttribute("href")); }
      link = null;
    });
    holder.addEventListener("pointercancel", () => { dragging = false; anchor = null; show(); });
    /* The pointer is held by the strips: the click that follows would open a link a second time. */
    holder.addEventListener("click", (event) => { if (event.detail && event.target.closest("svg.plot a") && event.pointerType !== "touch") event.preventDefault(); });
    holder.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.4 : 1 / 1.4, timeAt(event));
    }, { passive: false });
    const look = (a, b) => {
      const url = here();
      url.searchParams.set("from", stamp(a));
      url.searchParams.set("to", stamp(b));
      go(url.href, "push");
    };
    const zoom = (factor, at) => {
      const centre = at === undefined ? (cursor === null ? (from + to) / 2 : cursor) : at;
      look(centre - (centre - from) * factor, centre + (to - centre) * factor);
    };
    const move = (by, choosing) => {
      const was = cursor === null ? (from + to) / 2 : cursor;
      if (choosing && anchor === null) anchor = was;
      if (!choosing) anchor = null;
      cursor = Math.min(Math.max(was + (by * (to - from)) / 200, from), to);
      show();
      aloud(moment ? moment.textContent : words(cursor));
    };
    holder.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const act = (name) => { const one = document.querySelector("[data-act='" + name + "']"); if (one) one.click(); };
      const keys = {
        ArrowLeft: () => move(-1, event.shiftKey), ArrowRight: () => move(1, event.shiftKey),
        PageUp: () => act("earlier"), PageDown: () => act("later"),
        "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), _: () => zoom(2),
        Home: () => act("whole"),
        Escape: () => { if (cursor === null) act("letgo"); cursor = anchor = null; show(); },
        Enter: () => { if (event.target !== holder) return false; if (anchor !== null && anchor !== cursor) choose(); else act("open"); },
        b: () => act("beside"),
      };
      if (!keys[event.key] || event.target.closest("input, select, textarea")) return;
      if (keys[event.key]() !== false) event.preventDefault();
    });
    show();
    /* Drawn for another width: ask once more, for this one. */
    const width = Math.round(wide());
    if (width > 150 && Math.abs(width - Number(holder.dataset.width)) > 24) {
      const url = here();
      url.searchParams.set("w", String(Math.min(Math.max(width, 200), 2600)));
      go(url.href, "replace");
    }
  };

  /* Keys for what is decided: a key of a button presses it, unless something is being typed. */
  const keysOn = () => { try { return localStorage.getItem("keys") !== "off"; } catch { return true; } };
  const switchKeys = () => {
    const one = byId("keys");
    if (!one) return;
    const say = () => { one.hidden = false; one.setAttribute("aria-pressed", String(keysOn())); };
    one.addEventListener("click", () => { try { localStorage.setItem("keys", keysOn() ? "off" : "on"); } catch { /* kept for this page only */ } say(); });
    say();
  };
  const typing = (event) => event.target.closest("input, select, textarea, [contenteditable]");
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || typing(event) || !keysOn()) return;
    const key = event.key.toLowerCase();
    if (!/^[a-z]$/.test(key)) return;
    const one = document.querySelector("main [data-key='" + key + "']");
    if (!one) return;
    event.preventDefault();
    if (one.matches("textarea, input")) one.focus(); else one.click();
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.button, main a[data-live]");
    if (!link || !byId("strips") || event.ctrlKey || event.metaKey || event.shiftKey || link.hasAttribute("download")) return;
    const url = new URL(link.href);
    if (url.origin !== location.origin || url.pathname !== location.pathname) return;
    event.preventDefault();
    if (here().searchParams.get("w") && !url.searchParams.get("w")) url.searchParams.set("w", here().searchParams.get("w"));
    go(url.href, "push");
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("data-live")) { form.querySelectorAll("button").forEach((one) => { setTimeout(() => { one.disabled = true; }, 0); }); return; }
    event.preventDefault();
    const url = new URL(form.action);
    for (const [name, value] of new FormData(form)) if (value !== "") url.searchParams.append(name, value);
    if (here().searchParams.get("w") && !url.searchParams.get("w")) url.searchParams.set("w", here().searchParams.get("w"));
    go(url.href, "push");
  });
  window.addEventListener("popstate", () => { if (byId("strips")) go(location.href, "none"); });
  window.addEventListener("pageshow", (event) => { if (event.persisted) document.querySelectorAll("button:disabled").forEach((one) => { one.disabled = false; }); });
  let waiting = 0;
  window.addEventListener("resize", () => { clearTimeout(waiting); waiting = setTimeout(() => { const holder = byId("strips"); if (holder) go(location.href, "none"); }, 200); });
  /* Hours run again as a slider is let go; without this script the button does the same. */
  const whatIf = () => {
    const form = byId("what-if-form"), at = byId("what-if-answer");
    if (!form || !at) return;
    let newest = 0;
    const ask = async () => {
      const mine = ++newest;
      at.setAttribute("aria-busy", "true");
      at.textContent = document.body.dataset.saidRunning;
      const url = form.action + "?" + new URLSearchParams(new FormData(form));
      let words = null;
      try {
        const answer = await fetch(url, { headers: { accept: "text/html" } });
        const made = new DOMParser().parseFromString(await answer.text(), "text/html");
        words = made.getElementById("what-if-answer") || made.querySelector("main");
      } catch { words = null; }
      if (mine !== newest) return;
      at.removeAttribute("aria-busy");
      if (words) at.replaceChildren(...[...words.childNodes].map((one) => document.adoptNode(one)));
      else at.textContent = document.body.dataset.saidSilent;
    };
    for (const slider of form.querySelectorAll("input[type=range]")) {
      const told = slider.parentElement.querySelector("output");
      slider.addEventListener("input", () => { told.textContent = (slider.valueAsNumber > 0 ? "+" : slider.valueAsNumber < 0 ? "" : "±\u00a0") + slider.valueAsNumber.toLocaleString(document.documentElement.lang); });
      slider.addEventListener("change", ask);
    }
    form.addEventListener("submit", (event) => { event.preventDefault(); ask(); });
  };

  const start = () => { strips(); switchKeys(); whatIf(); };
  start();
})();
