/* First half of the chart of a dossier: the data, and lanes drawn from it. Joined with controls.js
   inside one function; texts from outside enter by textContent only. */
  const source = document.getElementById("series");
  if (!source) return;
  const data = JSON.parse(source.textContent);
  const SVG = "http://www.w3.org/2000/svg";
  const MINUTE = 60000;
  /* French parts the colon from the word before it. */
  const COLON = document.documentElement.lang === "fr" ? "\u00a0: " : ": ";
  const PLOT = 66, TOP = 3, LEFT = 50, RIGHT = 8, FOOT = 20;
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const step = data.step_min * MINUTE;
  const whole = [data.start, data.start + data.count * step];
  const narrowest = 20 * step;
  const byId = (name) => document.getElementById(name);
  const holder = byId("lanes");
  let foot = null;

  const numbers = (text) => {
    const raw = atob(text);
    const bytes = Uint8Array.from(raw, (char) => char.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Array.from({ length: bytes.length / 2 }, (_, i) => view.getUint16(2 * i, true));
  };
  const delays = data.delays.map((text) => numbers(text).map((code) => code / data.delay_parts));
  const clock = Array.from({ length: data.count }, (_, i) => data.start + (i + 0.5) * step);
  const enteredBy = (delay) => {
    let furthest = -Infinity;
    return clock.map((time, i) => {
      furthest = Math.max(furthest, time - (delay ? delay[i] * MINUTE : 0));
      return furthest;
    });
  };
  const lanes = data.lanes.map((lane) => {
    const lines = lane.lines.map((line) => ({
      name: line.name,
      style: line.style,
      values: numbers(line.data).map((code) => (code === data.missing ? null : line.low + line.scale * code)),
      /* A line of another period is moved back by travel times of its own. */
      entered: line.delay === undefined ? null : enteredBy(line.delay < 0 ? null : delays[line.delay]),
    }));
    const delay = lane.delay < 0 ? null : delays[lane.delay];
    const span = data.count * step;
    const unused = new Set(lane.raw ? lane.raw.unused : []);
    const raw = !lane.raw ? null : numbers(lane.raw.at).map((part, i) => [data.start + (part / (data.missing - 1)) * span, i])
      .map(([time, i]) => [time, 0, unused.has(i)]);
    if (raw) numbers(lane.raw.data).forEach((code, i) => { raw[i][1] = lane.raw.low + lane.raw.scale * code; });
    return Object.assign({}, lane, { lines, raw, delay, clock, entered: enteredBy(delay), on: lane.shown });
  });
  let view = whole.slice();
  let byClock = data.by_clock;
  let withRaw = false;
  let cursor = null;
  let drag = null;
  let width = 800;
  let printing = false;

  const make = (name, marks, parent) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(marks)) element.setAttribute(key, value);
    if (parent) parent.appendChild(element);
    return element;
  };
  const html = (name, className, words, parent) => {
    const element = document.createElement(name);
    if (className) element.className = className;
    if (words) element.textContent = words;
    if (parent) parent.appendChild(element);
    return element;
  };
  const offsetAt = (time) => {
    let held = data.offsets[0][1];
    for (const [from, minutes] of data.offsets) if (time >= from) held = minutes;
    return held;
  };
  const two = (n) => String(n).padStart(2, "0");
  const clockWords = (time) => {
    const local = new Date(time + offsetAt(time) * MINUTE);
    return two(local.getUTCHours()) + ":" + two(local.getUTCMinutes());
  };
  const dayWords = (time) => {
    const local = new Date(time + offsetAt(time) * MINUTE);
    if (data.language !== "en") {
      // The same parts in the same order as the tables beside, whatever signs a browser puts between.
      const said = new Intl.DateTimeFormat(data.language, { timeZone: "UTC", weekday: "short", day: "numeric", month: "short" }).formatToParts(local);
      return ["weekday", "day", "month"].map((name) => said.find((part) => part.type === name).value).join(" ");
    }
    return DAYS[local.getUTCDay()] + " " + local.getUTCDate() + " " + MONTHS[local.getUTCMonth()];
  };
  const digits = (value, decimals) => value.toFixed(decimals).replace(".", data.words.decimal);
  const written = (value, lane) => digits(value, lane.decimals);
  const times = (lane, line) => (byClock ? lane.clock : (line && line.entered) || lane.entered);
  const firstAtLeast = (list, wanted) => {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (list[middle] < wanted) low = middle + 1; else high = middle;
    }
    return low;
  };
  const laneDelay = (lane, minute) => {
    const i = Math.min(Math.max(Math.floor(minute / data.step_min), 0), data.count - 1);
    return lane.delay && !byClock ? lane.delay[i] : 0;
  };
  const labTime = (lane, grab) => data.start + (grab[0] + 0.5 - laneDelay(lane, grab[0])) * MINUTE;
  const xOf = (time) => LEFT + ((time - view[0]) / (view[1] - view[0])) * (width - LEFT - RIGHT);
  const timeOf = (x) => view[0] + ((x - LEFT) / (width - LEFT - RIGHT)) * (view[1] - view[0]);

  const rangeOf = (lane) => {
    const known = [];
    for (const line of lane.lines) {
      const seen = times(lane, line);
      const from = firstAtLeast(seen, view[0]), to = firstAtLeast(seen, view[1]);
      for (let i = from; i < to; i += 1) if (line.values[i] !== null) known.push(line.values[i]);
    }
    known.sort((a, b) => a - b);
    const edges = known.length ? [known[Math.floor(0.002 * (known.length - 1))], known[Math.ceil(0.998 * (known.length - 1))]] : [];
    for (const grab of lane.lab) {
      const at = labTime(lane, grab);
      if (at >= view[0] && at <= view[1]) edges.push(grab[1] - grab[2], grab[1] + grab[2]);
    }
    if (!edges.length) return null;
    let low = Math.min(...edges), high = Math.max(...edges);
    const reach = Math.max(high - low, 1e-6);
    if (lane.target !== null && lane.target >= low - reach && lane.target <= high + reach) {
      low = Math.min(low, lane.target);
      high = Math.max(high, lane.target);
    }
    const pad = 0.06 * (high - low) || 0.05 * Math.abs(high) || 0.5;
    return [low >= 0 ? Math.max(low - pad, 0) : low - pad, high + pad];
  };
  /* Round values inside a range, two of them or more, and the decimals they need: as on paper. */
  const levels = (range) => {
    const rough = (range[1] - range[0]) / 3;
    const decade = 10 ** Math.floor(Math.log10(rough));
    const wanted = [1, 2, 5].find((part) => part * decade >= rough) || 10;
    let unit = 1, found = [];
    for (const part of [10, 5, 2, 1, 0.5].filter((one) => one <= wanted)) {
      unit = part * decade;
      found = [];
      for (let n = Math.ceil(range[0] / unit); n * unit <= range[1]; n += 1) found.push(n * unit);
      if (found.length > 1) break;
    }
    return [found, Math.max(0, -Math.floor(Math.log10(unit) + 1e-9))];
  };

  /* One point to the pixel would hide a spike: each pixel keeps its lowest and highest reading. */
  const pathOf = (lane, line, yOf) => {
    const seen = times(lane, line);
    const from = Math.max(firstAtLeast(seen, view[0]) - 1, 0);
    const to = Math.min(firstAtLeast(seen, view[1]) + 1, seen.length);
    let path = "", pen = "M", pixel = null, low = 0, high = 0, last = 0, at = 0;
    const flush = () => {
      if (pixel === null) return;
      path += pen + at.toFixed(1) + " " + yOf(low).toFixed(1);
      if (high !== low) path += "L" + at.toFixed(1) + " " + yOf(high).toFixed(1) + "L" + at.toFixed(1) + " " + yOf(last).toFixed(1);
      pen = "L";
      pixel = null;
    };
    for (let i = from; i < to; i += 1) {
      const value = line.values[i];
      if (value === null) { flush(); pen = "M"; continue; }
      const x = xOf(seen[i]);
      if (pixel === null || Math.floor(x) !== pixel) {
        flush();
        pixel = Math.floor(x); at = x; low = value; high = value;
      }
      low = Math.min(low, value); high = Math.max(high, value); last = value;
    }
    flush();
    return path;
  };

  const ticks = () => {
    const wanted = Math.max(3, Math.floor((width - LEFT) / 92));
    const steps = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 4320, 10080];
    const every = steps.find((minutes) => (view[1] - view[0]) / (minutes * MINUTE) <= wanted) || 20160;
    const found = [];
    const offset = offsetAt(view[0]) * MINUTE;
    let time = Math.ceil((view[0] + offset) / (every * MINUTE)) * every * MINUTE - offset;
    for (; time < view[1]; time += every * MINUTE) {
      const words = clockWords(time);
      found.push([time, words === "00:00" || every >= 1440 ? dayWords(time) : words]);
    }
    return found;
  };

  const drawLane = (lane, last) => {
    const height = TOP + PLOT + (last ? FOOT : 3);
    lane.svg.setAttribute("viewBox", "0 0 " + width + " " + height);
    lane.svg.replaceChildren();
    const right = width - RIGHT;
    const left = Math.max(xOf(data.finding[0]), LEFT), stop = Math.min(xOf(data.finding[1]), right);
    if (stop > left) make("rect", { class: "shade", x: left, y: TOP, width: stop - left, height: PLOT }, lane.svg);
    make("rect", { class: "frame", x: LEFT, y: TOP, width: right - LEFT, height: PLOT }, lane.svg);
    const clip = make("clipPath", { id: "clip-" + lane.key }, lane.svg);
    make("rect", { x: LEFT, y: TOP, width: right - LEFT, height: PLOT }, clip);
    for (const [time, words] of ticks()) {
      const x = xOf(time);
      make("line", { class: "tick", x1: x, x2: x, y1: TOP + PLOT, y2: TOP + PLOT + (last ? 5 : 2) }, lane.svg);
      if (last && x > LEFT + 18 && x < right - 18)
        make("text", { class: "small", x, y: TOP + PLOT + 17, "text-anchor": "middle" }, lane.svg).textContent = words;
    }
    const range = rangeOf(lane);
    if (range) {
      const yOf = (value) => TOP + (PLOT * (range[1] - value)) / (range[1] - range[0]);
      const [marks, decimals] = levels(range);
      for (const value of marks) {
        make("line", { class: "grid", x1: LEFT, x2: right, y1: yOf(value), y2: yOf(value) }, lane.svg);
        make("text", { class: "small", x: LEFT - 4, y: Math.min(Math.max(yOf(value) + 4, TOP + 8), TOP + PLOT), "text-anchor": "end" }, lane.svg).textContent = digits(value, decimals);
      }
      const inside = make("g", { "clip-path": "url(#clip-" + lane.key + ")" }, lane.svg);
      if (lane.target !== null)
        make("line", { class: "level", x1: LEFT, x2: right, y1: yOf(lane.target), y2: yOf(lane.target) }, inside);
      if (withRaw && lane.raw) {
        /* As exported: dots; what was not used: crosses, at the edge where they lie beyond it. */
        let dots = "", crosses = "";
        for (const [time, value, bad] of lane.raw) {
          const x = xOf(time - laneDelay(lane, (time - data.start) / MINUTE) * MINUTE);
          if (x < LEFT || x > right) continue;
          const y = Math.min(Math.max(yOf(value), TOP + 3), TOP + PLOT - 3);
          if (bad) crosses += "M" + (x - 3).toFixed(1) + " " + (y - 3).toFixed(1) + "l6 6m0 -6l-6 6";
          else dots += "M" + x.toFixed(1) + " " + y.toFixed(1) + "h0";
        }
        make("path", { class: "dots", d: dots }, inside);
        make("path", { class: "crosses", d: crosses }, inside);
      }
      for (const line of lane.lines) make("path", { class: line.style, d: pathOf(lane, line, yOf) }, inside);
      for (const grab of lane.lab) {
        const x = xOf(labTime(lane, grab));
        make("line", { class: "bar-line", x1: x, x2: x, y1: yOf(grab[1] - grab[2]), y2: yOf(grab[1] + grab[2]) }, inside);
        make("circle", { class: "grab", cx: x, cy: yOf(grab[1]), r: 3.2 }, inside);
      }
      if (lane.moved !== null) {
        const x = xOf(data.start + (lane.moved + (byClock ? onsetDelay(lane) : 0)) * MINUTE);
        if (x > LEFT && x < right)
          make("path", { class: "moved", d: "M" + (x - 5) + " " + TOP + "h10l-5 8z" }, inside);
      }
    } else {
      make("text", { class: "small", x: LEFT + 8, y: TOP + PLOT / 2 + 4 }, lane.svg).textContent = data.words.empty;
    }
    /* What was noted beforehand, by the clock: a bar at the top, edges, a letter; words when pointed at. */
    for (const [from, to, letter, words] of data.noted) {
      const begin = Math.max(xOf(from), LEFT), end = Math.min(Math.max(xOf(to), xOf(from) + 3), right);
      if (end <= begin) continue;
      const group = make("g", { class: "known" }, lane.svg);
      make("title", {}, group).textContent = words;
      make("rect", { x: begin, y: TOP, width: end - begin, height: 4 }, group);
      for (const x of [begin, end]) make("line", { x1: x, x2: x, y1: TOP, y2: TOP + PLOT }, group);
      if (end - begin > 12) make("text", { class: "small", x: begin + 3, y: TOP + 14 }, group).textContent = letter;
    }
    lane.cursor = make("line", { class: "cursor", y1: TOP, y2: TOP + PLOT, visibility: "hidden" }, lane.svg);
    lane.chosen = make("rect", { class: "chosen", y: TOP, height: PLOT, visibility: "hidden" }, lane.svg);
  };
  /* On paper every sheet repeats the axis, which stands on the screen under the last lane. */
  const drawFoot = () => {
    foot.setAttribute("viewBox", "0 0 " + width + " " + FOOT);
    foot.replaceChildren();
    for (const [time, words] of ticks()) {
      const x = xOf(time);
      make("line", { class: "tick", x1: x, x2: x, y1: 0, y2: 5 }, foot);
      if (x > LEFT + 18 && x < width - RIGHT - 18)
        make("text", { class: "small", x, y: 17, "text-anchor": "middle" }, foot).textContent = words;
    }
  };
  const onsetDelay = (lane) => {
    if (!lane.delay) return 0;
    const i = Math.min(firstAtLeast(lane.entered, data.start + lane.moved * MINUTE), data.count - 1);
    return lane.delay[i];
  };
