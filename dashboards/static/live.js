// Moves the values on a page as readings arrive, and lets their age grow. Without it the page shows
// the values of the moment it was made.
"use strict";

(() => {
  const boxes = new Map();
  for (const element of document.querySelectorAll("[data-box]")) {
    boxes.set(element.dataset.box, element);
  }
  if (!boxes.size) return;

  // Ages are reckoned on the server's clock, whatever this device's clock says.
  const ahead = Date.now() - Number(document.querySelector("[data-now]").dataset.now);
  const status = document.querySelector("[data-live=status]");
  const part = (box, name) => box.querySelector(`[data-live=${name}]`);

  function ageWords(seconds) {
    if (seconds < 60) return "just now";
    if (seconds < 3600) return `${Math.floor(seconds / 60)}\u00a0min ago`;
    if (seconds < 172800) return `${Math.floor(seconds / 3600)}\u00a0h ago`;
    return `${Math.floor(seconds / 86400)}\u00a0days ago`;
  }

  function grow() {
    for (const box of boxes.values()) {
      const age = part(box, "age");
      if (!age) continue;
      const seconds = Math.max(0, (Date.now() - ahead - Date.parse(age.dateTime)) / 1000);
      const late = seconds > Number(age.dataset.lateAfter);
      age.textContent = late ? `last heard ${ageWords(seconds)}` : ageWords(seconds);
      age.classList.toggle("late", late);
      const marker = part(box, "marker");
      if (marker) marker.classList.toggle("kb-stale", late);
      const stamp = part(box, "stamp");
      if (late && stamp.classList.contains("stamp-well")) {
        stamp.textContent = "Late";
        stamp.className = "stamp stamp-unknown";
      }
    }
  }

  function show(value) {
    const box = boxes.get(value.box);
    if (!box) return;
    const age = part(box, "age");
    const marker = part(box, "marker");
    if (!age || (value.erh_pct !== null && !marker)) {
      // This box had nothing to show when the page was made: only a new page has the places.
      window.location.reload();
      return;
    }
    part(box, "temp").textContent = value.temp_words;
    part(box, "erh").textContent = value.erh_words;
    const stamp = part(box, "stamp");
    stamp.textContent = value.stamp_words;
    stamp.className = `stamp stamp-${value.stamp_kind}`;
    if (value.erh_pct !== null) {
      marker.setAttribute("x", `${Math.min(100, Math.max(0, value.erh_pct))}%`);
      const text = part(box, "value");
      text.textContent = value.now_words;
      const left = value.erh_pct > 50;
      text.setAttribute("text-anchor", left ? "end" : "start");
      text.setAttribute("x", left ? "-12" : "12");
    }
    box.querySelector(".keeping-band").setAttribute("aria-label", value.words);
    age.dateTime = new Date(value.time_ms).toISOString();
    grow();
  }

  let source;
  let lost = 0;

  function listen() {
    // A page of one box need not hear of the others.
    const only = boxes.size === 1 ? `?${new URLSearchParams({ box: [...boxes.keys()][0] })}` : "";
    source = new EventSource(`/live${only}`);
    source.addEventListener("box", (event) => show(JSON.parse(event.data)));
    source.onopen = () => {
      lost = 0;
      if (status) status.textContent = "Values move as readings arrive.";
    };
    source.onerror = () => {
      if (status && !lost) {
        status.textContent = "Live values have stopped; trying again. What you see may be old.";
      }
      lost += 1;
      if (source.readyState === EventSource.CLOSED) {
        setTimeout(listen, Math.min(60, 3 * lost) * 1000);
      }
    };
  }

  listen();
  grow();
  setInterval(grow, 15000);
  window.addEventListener("pagehide", () => source.close());
  window.addEventListener("pageshow", (event) => { if (event.persisted) listen(); });
})();
