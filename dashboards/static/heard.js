// On a first start: shows what sensors say as soon as they say it. Without it there is a link.
"use strict";

(() => {
  const place = document.querySelector("[data-heard]");
  const EVERY_MS = 3000;
  let shown = "";

  async function look() {
    try {
      const answer = await fetch(place.dataset.heard, { headers: { Accept: "text/html" } });
      const text = answer.ok ? await answer.text() : shown;
      // A button that is being reached for must not be taken away.
      if (text !== shown && !place.contains(document.activeElement)) {
        shown = text;
        place.innerHTML = text;
      }
    } catch {
      // The next look may succeed.
    }
    setTimeout(look, EVERY_MS);
  }

  setTimeout(look, EVERY_MS);
})();
