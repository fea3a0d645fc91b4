// Draws the history of a box so that it can be pointed at and seen closer. The panels drawn by the
// server stay in the page, for print and for browsers without JavaScript.
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
  const back = document.createElement("button");
  back.type = "button";
  back.className = "whole";
  back.textContent = "Show the whole span again";
  back.hidden = true;

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
  let charts = [];

  function tell(index) {
    readout.replaceChildren();
    if (index === null || index === undefined || !columns || columns.erh_lo[index] === undefined) {
      readout.textContent = window.matchMedia("(hover: none)").matches
        ? "Touch a moment to read it."
        : "Point at a moment to read it; drag across a span to see it closer.";
      return;
    }
    addReadout("", moment(columns.time_ms[index]));
    if (columns.erh_mid[index] === null && columns.temp_mid[index] === null) {
      addReadout("", "no readings");
      return;
    }
    addReadout("Humidity", span(columns.erh_lo[index], columns.erh_hi[index], 0, "% eRH"));
    const [low, high] = temp([columns.temp_lo[index], columns.temp_hi[index]]);
    addReadout("Temperature", span(low, high, 1, unit));
    addReadout("Seed moisture", span(columns.mc_oily_pct[index], columns.mc_starchy_pct[index], 0, "%"));
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

  function options(title, height, series, bands, hooks, include) {
    const font = "13px system-ui, sans-serif";
    const axis = () => ({
      stroke: colour("--soft"), font, ticks: { show: false },
      grid: { stroke: colour("--rule"), width: 1 },
    });
    return {
      width: plots.clientWidth, height, ms: 1, legend: { show: false }, padding: [8, 12, 0, 0],
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

  function panel(title, height, rows, include, hooks = {}) {
    const figure = document.createElement("figure");
    figure.className = "plot";
    const caption = document.createElement("figcaption");
    caption.className = "plot-title";
    caption.textContent = title;
    figure.append(caption);
    plots.append(figure);
    const series = rows.length === 3 ? [edge(), edge(), middle()] : [edge(), edge()];
    const fill = colour("--core") + "66";
    const bands = [{ series: [1, 2], fill }];
    return new uPlot(
      options(title, height, series, bands, hooks, include), [columns.time_ms, ...rows], figure,
    );
  }

  function draw(shown) {
    for (const chart of charts) chart.destroy();
    plots.replaceChildren();
    const tall = plots.clientWidth < NARROW ? 210 : 260;
    const low = plots.clientWidth < NARROW ? 150 : 170;
    charts = [
      panel("Humidity, % eRH; green: target", tall,
        [columns.erh_hi, columns.erh_lo, columns.erh_mid], target, { drawClear: [drawTarget] }),
      panel(`Temperature, ${unit}`, low,
        [temp(columns.temp_hi), temp(columns.temp_lo), temp(columns.temp_mid)], [null, null]),
      panel("Moisture of seed in paper, %, from oily to starchy", low,
        [columns.mc_starchy_pct, columns.mc_oily_pct], [null, null]),
    ];
    for (const chart of charts) chart.setScale("x", { min: shown[0], max: shown[1] });
    tell(null);
  }

  async function load(shown) {
    const width = Math.max(50, Math.round(place.clientWidth));
    const query = new URLSearchParams({ from: shown[0], to: shown[1], width });
    let answer;
    try {
      answer = await fetch(`${data.url}?${query}`);
    } catch {
      return; // the panels drawn by the server stay
    }
    if (!answer.ok) return;
    columns = await answer.json();
    back.hidden = shown[0] === whole[0] && shown[1] === whole[1];
    if (!plots.isConnected) {
      place.append(readout, plots, back);
      drawn.hidden = true;
    }
    draw([columns.from_ms, columns.to_ms]);
  }

  back.addEventListener("click", () => load(whole));
  let width = 0;
  new ResizeObserver(() => {
    if (columns && Math.abs(place.clientWidth - width) > 8) draw([columns.from_ms, columns.to_ms]);
    width = place.clientWidth;
  }).observe(place);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    if (columns) draw([columns.from_ms, columns.to_ms]);
  });
  load(whole);
})();
