/* Second half of the chart of a dossier: what the reader does with it, on what lanes.js holds. */
  const shown = () => lanes.filter((lane) => lane.on);
  const draw = () => {
    width = printing ? 700 : Math.max(300, Math.round(holder.clientWidth || 800));
    const visible = shown();
    byId("count").textContent = String(visible.length);
    byId("axis").setAttribute("aria-pressed", String(byClock));
    if (byId("raw")) byId("raw").setAttribute("aria-pressed", String(withRaw));
    lanes.forEach((lane) => { lane.box.hidden = !lane.on; });
    visible.forEach((lane, i) => drawLane(lane, !printing && i === visible.length - 1));
    if (printing) drawFoot();
    holder.dataset.from = String(Math.round(view[0]));
    holder.dataset.to = String(Math.round(view[1]));
    read();
  };

  /* What a lane shows at the reading line: the nearest reading, none where it lies two steps off. */
  const valueAt = (lane, time) => {
    const nearest = (seen) => {
      let i = Math.min(firstAtLeast(seen, time), seen.length - 1);
      if (i > 0 && Math.abs(seen[i - 1] - time) < Math.abs(seen[i] - time)) i -= 1;
      return [i, Math.abs(seen[i] - time) <= 2 * step];
    };
    const [i] = nearest(times(lane));
    const parts = [];
    for (const line of lane.lines) {
      const [k, near] = nearest(times(lane, line));
      const value = near ? line.values[k] : null;
      const name = lane.lines.length > 1 ? line.name + " " : "";
      parts.push(name + (value === null ? data.words.no_reading : written(value, lane) + (lane.unit ? " " + lane.unit : "")));
    }
    for (const grab of lane.lab)
      if (Math.abs(xOf(labTime(lane, grab)) - xOf(time)) < 5)
        parts.push(data.words.laboratory + " " + written(grab[1], lane) + " ± " + written(grab[2], lane) + (lane.unit ? " " + lane.unit : ""));
    const moved = !byClock && lane.delay ? ", " + data.words.read + " " + clockWords(lane.clock[i]) : "";
    return parts.length ? parts.join("; ") + moved : data.words.no_result;
  };
  const read = (aloud) => {
    const moment = byId("moment");
    if (cursor === null || cursor < view[0] || cursor > view[1]) {
      moment.textContent = dayWords(view[0]) + " " + clockWords(view[0]) + " " + data.words.to + " " + dayWords(view[1]) + " " + clockWords(view[1]) + ", " + data.zone;
      for (const lane of shown()) {
        lane.value.textContent = "";
        lane.cursor.setAttribute("visibility", "hidden");
      }
      return;
    }
    const x = xOf(cursor);
    moment.textContent = dayWords(cursor) + " " + clockWords(cursor) + (byClock ? " " + data.words.by_clock : ", " + data.words.entered);
    for (const lane of shown()) {
      lane.value.textContent = valueAt(lane, cursor);
      lane.cursor.setAttribute("x1", x);
      lane.cursor.setAttribute("x2", x);
      lane.cursor.setAttribute("visibility", "visible");
    }
    if (aloud) byId("said").textContent = moment.textContent + ". " + shown().map((lane) => lane.what + COLON + lane.value.textContent).join(". ");
  };

  const look = (from, to) => {
    const span = Math.min(Math.max(to - from, narrowest), whole[1] - whole[0]);
    const middle = (from + to) / 2;
    const start = Math.min(Math.max(middle - span / 2, whole[0]), whole[1] - span);
    view = [start, start + span];
    draw();
  };
  const zoom = (factor, around) => {
    const centre = around === undefined ? (cursor !== null && cursor > view[0] && cursor < view[1] ? cursor : (view[0] + view[1]) / 2) : around;
    look(centre - (centre - view[0]) * factor, centre + (view[1] - centre) * factor);
  };
  const pan = (share) => {
    const by = share * (view[1] - view[0]);
    look(view[0] + by, view[1] + by);
  };
  const choose = (test) => {
    for (const lane of lanes) { lane.on = test(lane); lane.check.checked = lane.on; }
    draw();
  };
  const acts = {
    in: () => zoom(0.5),
    out: () => zoom(2),
    left: () => pan(-0.5),
    right: () => pan(0.5),
    finding: () => {
      const around = Math.max(0.15 * (data.finding[1] - data.finding[0]), 60 * MINUTE);
      look(data.finding[0] - around, data.finding[1] + around);
    },
    reset: () => { cursor = null; look(whole[0], whole[1]); },
    axis: () => {
      byClock = !byClock;
      draw();
    },
    raw: () => {
      withRaw = !withRaw;
      draw();
    },
    all: () => choose(() => true),
    none: () => choose(() => false),
    first: () => choose((lane) => lane.shown),
  };
  const moveCursor = (by) => {
    const unit = Math.max(step, (view[1] - view[0]) / 200);
    cursor = Math.min(Math.max((cursor === null ? (view[0] + view[1]) / 2 : cursor) + by * unit, view[0]), view[1]);
    read(true);
  };

  const place = (event) => {
    const box = event.currentTarget.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * width;
    return Math.min(Math.max(timeOf(x), view[0]), view[1]);
  };
  const mark = () => {
    for (const lane of shown()) {
      if (!drag) { lane.chosen.setAttribute("visibility", "hidden"); continue; }
      const [a, b] = [xOf(drag.from), xOf(drag.to)];
      lane.chosen.setAttribute("x", Math.min(a, b));
      lane.chosen.setAttribute("width", Math.abs(b - a));
      lane.chosen.setAttribute("visibility", "visible");
    }
  };
  const listen = (svg) => {
    svg.addEventListener("pointerdown", (event) => {
      cursor = place(event);
      if (event.pointerType === "mouse" && event.button === 0) {
        svg.setPointerCapture(event.pointerId);
        drag = { from: cursor, to: cursor };
      }
      read();
    });
    svg.addEventListener("pointermove", (event) => {
      cursor = place(event);
      if (drag) { drag.to = cursor; mark(); }
      read();
    });
    const drop = (event) => {
      const done = drag;
      drag = null;
      mark();
      if (done && event.type === "pointerup" && Math.abs(xOf(done.from) - xOf(done.to)) > 6)
        look(Math.min(done.from, done.to), Math.max(done.from, done.to));
    };
    svg.addEventListener("pointerup", drop);
    svg.addEventListener("pointercancel", drop);
    svg.addEventListener("pointerleave", (event) => {
      if (!drag && event.pointerType === "mouse") { cursor = null; read(); }
    });
    svg.addEventListener("dblclick", acts.reset);
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, place(event));
    }, { passive: false });
  };
  holder.addEventListener("keydown", (event) => {
    const keys = {
      ArrowLeft: () => (event.shiftKey ? pan(-0.25) : moveCursor(-1)),
      ArrowRight: () => (event.shiftKey ? pan(0.25) : moveCursor(1)),
      "+": acts.in, "=": acts.in, "-": acts.out, "_": acts.out,
      Home: acts.reset,
      Escape: () => { cursor = null; read(); },
    };
    if (event.ctrlKey || event.metaKey || event.altKey || !keys[event.key]) return;
    event.preventDefault();
    keys[event.key]();
  });
  document.querySelectorAll("#chart button[data-do]").forEach((button) => {
    button.addEventListener("click", () => acts[button.dataset.do]());
  });

  for (const lane of lanes) {
    lane.box = html("div", "lane", "", holder);
    const head = html("p", "head", "", lane.box);
    const name = html("span", "name", "", head);
    if (lane.tag) html("bdi", "", lane.tag, name);
    const unit = lane.unit ? " [" + lane.unit + "]" : "";
    html("bdi", lane.tag ? "what" : "", (lane.tag ? " " : "") + lane.what + unit, name);
    lane.value = html("span", "value", "", head);
    lane.svg = make("svg", { "aria-hidden": "true" }, lane.box);
    lane.svg.dataset.lane = lane.key;
    listen(lane.svg);
    const label = html("label", "", "", byId("boxes"));
    lane.check = html("input", "", "", label);
    lane.check.type = "checkbox";
    lane.check.checked = lane.on;
    lane.check.addEventListener("change", () => { lane.on = lane.check.checked; draw(); });
    html("bdi", "", (lane.tag ? lane.tag + COLON : "") + lane.what, label);
  }
  foot = make("svg", { "aria-hidden": "true" }, html("div", "lane-axis", "", holder));
  byId("still").hidden = true;
  byId("chart").hidden = false;
  let waiting = 0;
  window.addEventListener("resize", () => {
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(draw);
  });
  /* Paper is narrower than a screen: drawn for it, the print stays legible. */
  for (const [name, paper] of [["beforeprint", true], ["afterprint", false]])
    window.addEventListener(name, () => { printing = paper; draw(); });
  draw();
