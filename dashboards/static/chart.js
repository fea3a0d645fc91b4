// Draws the history of a box so that it can be pointed at, moved along and seen closer: by mouse, by
// finger, or by buttons. The panels drawn by the server stay in the page, for print and for browsers
// without JavaScript.
"use strict";

(() => {
  const place = document.querySelector("[data-chart]");
  if (!place || typeof uPlot === "undefined") return;

  const drawn = place.querySelector(".drawn");
  const data = place.dataset;
  const fahrenheit = data.fahrenheit === "yes";
  const target = [Number(data.low), Number(data.high)];
  const whole = [Number(data.from), Number(data.to)];
  const NARROW = 46 * 16;
  const WET = 85;
  const RAIL = 26; // height above the humidity for what happened
  const LEAST = 2 * 36e5, MOST = 3653 * 864e5; // spans that can be shown
  const FAR = 400 * 864e5; // nothing is foretold further ahead
  const unit = fahrenheit ? "°F" : "°C";
  const temp = (values) => (fahrenheit ? values.map((v) => (v === null ? null : v * 1.8 + 32)) : values);
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  // Dates as 2026-11-25, times as 09:12, in the zone of the settings.
  const parts = new Intl.DateTimeFormat("en-CA", {
    timeZone: data.zone, hourCycle: "h23",
    year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit",
  });
  function written(ms) {
    const found = Object.fromEntries(parts.formatToParts(ms).map((p) => [p.type, p.value]));
    return { day: `${found.year}-${found.month}-${found.day}`, clock: `${found.hour}:${found.minute}` };
  }
  function moment(ms) {
    const { day, clock } = written(ms);
    return `${day} ${clock}`;
  }
  function tickWords(u, splits) {
    const step = splits.length > 1 ? splits[1] - splits[0] : 0;
    let before = "";
    return splits.map((ms) => {
      const { day, clock } = written(ms);
      if (step >= 28 * 864e5) return day.slice(0, 7);
      if (step >= 864e5) return day.slice(5);
      const words = day === before ? clock : `${clock}\n${day.slice(5)}`;
      before = day;
      return words;
    });
  }

  const readout = document.createElement("p");
  readout.className = "readout";
  const plots = document.createElement("div");
  plots.className = "plots";
  const spanWords = document.querySelector(".history .span");
  const wholeWords = spanWords.textContent;
  const about = document.createElement("div");
  about.className = "look-about no-print";
  function addButton(words, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words;
    button.addEventListener("click", act);
    about.append(button);
    return button;
  }
  let shown = whole;
  const by = (share) => (shown[1] - shown[0]) * share;
  addButton("Earlier", () => load([shown[0] - by(0.5), shown[1] - by(0.5)]));
  addButton("Later", () => load([shown[0] + by(0.5), shown[1] + by(0.5)]));
  addButton("Closer", () => load([shown[0] + by(0.25), shown[1] - by(0.25)]));
  addButton("Wider", () => load([shown[0] - by(0.5), shown[1] + by(0.5)]));
  const back = addButton("Show the whole span again", () => load(whole));
  back.className = "whole";
  back.hidden = true;

  // Keep a span within what can be shown, as long as it was where that is possible.
  function held([from, to]) {
    const length = Math.min(Math.max(to - from, LEAST), MOST);
    const last = Math.min((from + to + length) / 2, Date.now() + FAR);
    const first = Math.max(last - length, 0);
    return [Math.round(first), Math.round(Math.max(first + length, last))];
  }

  function addReadout(label, words) {
    const part = document.createElement("span");
    const bold = document.createElement("b");
    bold.textContent = words;
    part.append(`${label} `, bold);
    readout.append(part);
  }
  function figure(value, digits) {
    return value === null || value === undefined ? "—" : value.toFixed(digits).replace("-", "−");
  }
  function span(low, high, digits, sign) {
    const first = figure(low, digits);
    const last = figure(high, digits);
    return `${first === last ? first : `${first} to ${last}`}\u00a0${sign}`;
  }

  let columns = null;
  let times = []; // of the columns, then of what is ahead
  let charts = [];

  function tell(index) {
    readout.replaceChildren();
    if (index === null || index === undefined || !columns || times[index] === undefined) {
      readout.textContent = window.matchMedia("(hover: none)").matches
        ? "Touch a moment to read it; drag to move, pinch to see closer."
        : "Point at a moment to read it; drag across a span to see it closer.";
      return;
    }
    addReadout("", moment(times[index]));
    tellMarks(times[index]);
    const future = index - columns.time_ms.length;
    if (future >= 0) {
      const { low, high } = columns.ahead;
      addReadout("To come, if nothing is done", span(low[future], high[future], 0, "% eRH"));
      return;
    }
    if (columns.erh_mid[index] === null && columns.temp_mid[index] === null) {
      addReadout("", "no readings");
      return;
    }
    addReadout("Humidity", span(columns.erh_lo[index], columns.erh_hi[index], 0, "% eRH"));
    const [low, high] = temp([columns.temp_lo[index], columns.temp_hi[index]]);
    addReadout("Temperature", span(low, high, 1, unit));
    addReadout("Seed moisture", span(columns.mc_oily_pct[index], columns.mc_starchy_pct[index], 0, "%"));
  }

  // What happened near a moment: within a finger's breadth, or while an alert lasted.
  function tellMarks(ms) {
    const near = (shown[1] - shown[0]) * (8 / Math.max(1, plots.clientWidth));
    const found = columns.marks.filter((mark) =>
      (mark.until_ms !== null && mark.time_ms <= ms && ms <= mark.until_ms) ||
      Math.abs(mark.time_ms - ms) <= near);
    for (const mark of found.slice(0, 3)) addReadout(`${written(mark.time_ms).day}:`, mark.words);
    if (found.length > 3) addReadout("", `and ${found.length - 3} more`);
  }

  const SHAPES = {
    opened: [[0, -6], [0, 6]],
    swap: [[0, -6], [5, 0], [0, 6], [-5, 0]],
    weighed: [[0, -5], [5, 4], [-5, 4]],
    alert: [[-1.5, -7], [1.5, -7], [1, 6], [-1, 6]],
  };

  function drawMarks(u) {
    const line = window.devicePixelRatio;
    const { left, top, width } = u.bbox;
    const middle = top - (RAIL - 10) * line;
    u.ctx.save();
    u.ctx.lineWidth = 1.5 * line;
    u.ctx.setLineDash([]);
    for (const mark of columns.marks) {
      const from = Math.max(left, u.valToPos(mark.time_ms, "x", true));
      const to = Math.min(left + width, u.valToPos(mark.until_ms ?? mark.time_ms, "x", true));
      if (to < left || from > left + width) continue;
      u.ctx.fillStyle = colour(mark.sign === "weighed" ? "--sheet" : "--ink");
      u.ctx.strokeStyle = colour(mark.sign === "opened" ? "--soft" : "--ink");
      if (mark.until_ms !== null) u.ctx.fillRect(from, middle + 8 * line, to - from, 4 * line);
      u.ctx.beginPath();
      for (const [x, y] of SHAPES[mark.sign]) u.ctx.lineTo(from + x * line, middle + y * line);
      u.ctx.closePath();
      u.ctx.fill();
      u.ctx.stroke();
    }
    u.ctx.restore();
  }

  // The present, and when desiccant is due, on the line of its limit.
  function drawAhead(u) {
    const { ahead } = columns;
    if (!ahead) return;
    const line = window.devicePixelRatio;
    const { left, top, width, height } = u.bbox;
    const place = (ms) => Math.min(Math.max(u.valToPos(ms, "x", true), left), left + width);
    const now = u.valToPos(columns.time_ms.at(-1) ?? shown[1], "x", true);
    u.ctx.save();
    u.ctx.fillStyle = u.ctx.strokeStyle = colour("--ink");
    if (now > left && now < left + width) {
      u.ctx.fillRect(now, top, line, height);
      u.ctx.font = `${13 * line}px system-ui, sans-serif`;
      u.ctx.textAlign = "left";
      u.ctx.fillText("now", now + 5 * line, top + height - 6 * line);
    }
    if (ahead.due_low_ms !== null) {
      const from = place(ahead.due_low_ms);
      const y = u.valToPos(target[1], "y", true) - 2.5 * line;
      u.ctx.fillRect(from, y, place(ahead.due_high_ms ?? shown[1]) - from, 5 * line);
    }
    u.ctx.restore();
  }

  function drawTarget(u) {
    const [low, high] = [...target].map((v) => u.valToPos(v, "y", true));
    const { left, top, width, height } = u.bbox;
    const line = window.devicePixelRatio;
    u.ctx.save();
    u.ctx.beginPath();
    u.ctx.rect(left, top, width, height);
    u.ctx.clip();
    u.ctx.fillStyle = colour("--leaf-wash");
    u.ctx.fillRect(left, high, width, low - high);
    u.ctx.strokeStyle = colour("--leaf");
    u.ctx.lineWidth = line;
    u.ctx.strokeRect(left - line, high, width + 2 * line, low - high);
    const wet = u.valToPos(WET, "y", true);
    u.ctx.strokeStyle = colour("--soft");
    u.ctx.setLineDash([4 * line, 4 * line]);
    u.ctx.beginPath();
    u.ctx.moveTo(left, wet);
    u.ctx.lineTo(left + width, wet);
    u.ctx.stroke();
    u.ctx.restore();
  }

  function options(height, series, bands, hooks, include, room) {
    const font = "13px system-ui, sans-serif";
    const axis = () => ({
      stroke: colour("--soft"), font, ticks: { show: false },
      grid: { stroke: colour("--rule"), width: 1 },
    });
    return {
      width: plots.clientWidth, height, ms: 1, legend: { show: false }, padding: [8 + room, 12, 0, 0],
      tzDate: (ms) => uPlot.tzDate(new Date(ms), data.zone),
      cursor: {
        sync: { key: "history" }, y: false, points: { show: false },
        drag: { x: true, y: false, setScale: false },
      },
      scales: {
        x: { time: true },
        y: {
          range: (u, low, high) => {
            const [least, most] = include;
            const from = least === null ? low : Math.min(low ?? least, least);
            const to = most === null ? high : Math.max(high ?? most, most);
            return from === null ? [0, 1] : uPlot.rangeNum(from, to, 0.08, true);
          },
        },
      },
      axes: [
        { ...axis(), values: tickWords, space: plots.clientWidth < NARROW ? 62 : 84, size: 40 },
        { ...axis(), size: 38, values: (u, splits) => splits.map((v) => figure(v, v % 1 ? 1 : 0)) },
      ],
      series: [{}, ...series],
      bands,
      hooks: {
        setCursor: [(u) => { if (u.cursor.idx !== undefined) tell(u.cursor.left < 0 ? null : u.cursor.idx); }],
        setSelect: [(u) => {
          if (u.select.width < 8) return;
          const from = Math.round(u.posToVal(u.select.left, "x"));
          const to = Math.round(u.posToVal(u.select.left + u.select.width, "x"));
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
          load([from, to]);
        }],
        ...hooks,
      },
    };
  }

  function edge() { return { stroke: colour("--core"), width: 1, points: { show: false } }; }
  function middle() { return { stroke: colour("--ink"), width: 1.5, points: { show: false } }; }
  function coming(name, width) { return { stroke: colour(name), width, dash: [4, 4], points: { show: false } }; }

  // One finger moves along, two fingers see closer or wider; up and down is left to the page.
  function followFingers(over) {
    const down = new Map();
    let start = null;
    const centre = () => [...down.values()].reduce((sum, x) => sum + x, 0) / down.size;
    const apart = () => { const [a, b = a] = down.values(); return Math.max(20, Math.abs(a - b)); };
    const begin = () => {
      start = down.size ? { span: shown, centre: centre(), apart: apart(), two: down.size > 1 } : null;
    };
    over.addEventListener("pointerdown", (event) => {
      if (event.pointerType !== "touch") return;
      down.set(event.pointerId, event.clientX);
      over.setPointerCapture(event.pointerId);
      begin();
    });
    over.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      down.set(event.pointerId, event.clientX);
      const { left, width } = over.getBoundingClientRect();
      const length = start.span[1] - start.span[0];
      const closer = start.two ? start.apart / apart() : 1;
      if (!start.two && Math.abs(centre() - start.centre) < 8) return;
      const fixed = start.span[0] + length * (start.centre - left) / width;
      const first = fixed - length * closer * (centre() - left) / width;
      shown = held([first, first + length * closer]);
      for (const chart of charts) chart.setScale("x", { min: shown[0], max: shown[1] });
    });
    const end = (event) => {
      if (!down.delete(event.pointerId)) return;
      begin();
      if (!down.size && (shown[0] !== columns.from_ms || shown[1] !== columns.to_ms)) load(shown);
    };
    over.addEventListener("pointerup", end);
    over.addEventListener("pointercancel", end);
  }

  function panel(title, height, rows, include, hooks = {}) {
    const figure = document.createElement("figure");
    figure.className = "plot";
    const caption = document.createElement("figcaption");
    caption.className = "plot-title";
    caption.textContent = title;
    figure.append(caption);
    plots.append(figure);
    const series = rows.length > 2 ? [edge(), edge(), middle()] : [edge(), edge()];
    const bands = [{ series: [1, 2], fill: colour("--core") + "66" }];
    let room = 0;
    if (rows.length > 3) {
      series.push(coming("--wide", 1), coming("--wide", 1), coming("--ink", 1.5));
      bands.push({ series: [4, 5], fill: colour("--wide") + "4d" });
    }
    if (hooks.draw) room = columns.marks.length ? RAIL : 0;
    const drawnChart = new uPlot(
      options(height, series, bands, hooks, include, room), [times, ...rows], figure,
    );
    followFingers(drawnChart.over);
    return drawnChart;
  }

  // Readings end where what is ahead begins: each has nothing in the other's place.
  function before(column) { return [...column, ...times.slice(column.length).map(() => null)]; }
  function after(column) { return [...columns.time_ms.map(() => null), ...(column ?? [])]; }

  function draw() {
    for (const chart of charts) chart.destroy();
    plots.replaceChildren();
    const tall = plots.clientWidth < NARROW ? 210 : 260;
    const low = plots.clientWidth < NARROW ? 150 : 170;
    const { ahead } = columns;
    times = [...columns.time_ms, ...(ahead?.time_ms ?? [])];
    const humidity = [columns.erh_hi, columns.erh_lo, columns.erh_mid].map(before);
    if (ahead) humidity.push(after(ahead.high), after(ahead.low), after(ahead.mid));
    charts = [
      panel("Humidity, % eRH; green: target", tall, humidity, target,
        { drawClear: [drawTarget], draw: [drawMarks, drawAhead] }),
      panel(`Temperature, ${unit}`, low,
        [temp(columns.temp_hi), temp(columns.temp_lo), temp(columns.temp_mid)].map(before), [null, null]),
      panel("Moisture of seed in paper, %, from oily to starchy", low,
        [columns.mc_starchy_pct, columns.mc_oily_pct].map(before), [null, null]),
    ];
    for (const chart of charts) chart.setScale("x", { min: shown[0], max: shown[1] });
    tell(null);
  }

  let asked = 0;
  async function load(wanted) {
    const mine = ++asked; // an answer that a later one overtook is not drawn
    shown = wanted === whole ? whole : held(wanted);
    const width = Math.max(50, Math.round(place.clientWidth));
    const query = new URLSearchParams({ from: shown[0], to: shown[1], width });
    let answer;
    try {
      answer = await fetch(`${data.url}?${query}`);
    } catch {
      return; // the panels drawn by the server stay
    }
    if (!answer.ok) return;
    const told = await answer.json();
    if (mine !== asked) return;
    columns = told;
    shown = [columns.from_ms, columns.to_ms];
    back.hidden = shown[0] === whole[0] && shown[1] === whole[1];
    spanWords.textContent = back.hidden ? wholeWords : `${moment(shown[0])} to ${moment(shown[1])}`;
    if (!plots.isConnected) {
      place.append(readout, plots, about);
      drawn.hidden = true;
    }
    draw();
  }

  let width = 0;
  new ResizeObserver(() => {
    if (columns && Math.abs(place.clientWidth - width) > 8) draw();
    width = place.clientWidth;
  }).observe(place);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    if (columns) draw();
  });
  load(whole);
})();
