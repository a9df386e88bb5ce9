"use strict";

// Asks from time to time for the parts of the page that change, and says so where nobody answers.
(() => {
  let held = false;

  // A part that is drawn anew keeps what was opened in it and what has the focus; under the thumb it is not drawn anew.
  const place = (part, html) => {
    if (held || part.drawn === html) return;
    const opened = [...part.querySelectorAll("details[open]")].map((one) => one.id);
    const keys = () => [...part.querySelectorAll("a, button, summary")];
    const focused = keys().indexOf(document.activeElement);
    part.drawn = html;
    part.innerHTML = html;
    for (const details of part.querySelectorAll("details")) details.open = opened.includes(details.id);
    keys()[focused]?.focus();
    part.dispatchEvent(new Event("drawn", { bubbles: true }));
  };

  const ask = async (part) => {
    try {
      const answer = await fetch(part.dataset.news);
      part.classList.toggle("old", !answer.ok);
      if (answer.ok) place(part, await answer.text());
    } catch {
      part.classList.add("old");
    }
  };

  for (const part of document.querySelectorAll("[data-news]")) {
    const poll = async () => {
      await ask(part);
      setTimeout(poll, part.dataset.everyS * 1000);
    };
    setTimeout(poll, part.dataset.everyS * 1000);
    document.addEventListener("units-changed", () => ask(part));
  }
  document.addEventListener("pointerdown", () => (held = true));
  for (const end of ["pointerup", "pointercancel"]) {
    document.addEventListener(end, () => setTimeout(() => (held = false)));
  }
})();
