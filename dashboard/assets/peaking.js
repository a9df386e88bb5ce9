"use strict";

// The box of whoever turns the dish: asked for every second while the crew peaks, with a tone if wanted.
(() => {
  const ASK_MS = 1000;
  const box = document.getElementById("peaking");
  const toneKey = document.getElementById("tone-key");
  const { terminal } = document.body.dataset;
  let asking = false;
  let toned = false;

  const show = (name, text) => {
    const line = document.getElementById(`peak-${name}`);
    if (line.textContent !== text) line.textContent = text;
  };

  const ask = async () => {
    try {
      const answer = await fetch(`/crew/peaking?terminal=${encodeURIComponent(terminal || "")}`);
      const now = await answer.json();
      asking = now.peaking;
      box.hidden = !now.peaking;
      if (!now.peaking) return;
      for (const name of ["level", "unit", "way", "beside", "age"]) show(name, now[name] || "");
      box.dataset.way = now.direction || "";
      if (toned && now.hz) window.peakshade.tone(now.hz);
    } catch {
      show("age", box.dataset.lost);
    } finally {
      if (asking) setTimeout(ask, ASK_MS);
    }
  };

  toneKey.addEventListener("click", () => {
    toned = !toned;
    toneKey.setAttribute("aria-pressed", String(toned));
    if (toned) window.peakshade.wakeSound();
  });

  window.peakshade.peak = (peaking) => {
    box.hidden = !peaking;
    if (peaking && !asking) {
      asking = true;
      ask();
    }
  };
})();
