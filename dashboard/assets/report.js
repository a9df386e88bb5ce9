"use strict";

// Chooses days, has their report made, shows how far it is, and hands the summary on.
(() => {
  const ASK_MS = 1000;
  const { terminal } = document.body.dataset;
  const said = document.getElementById("report-said");
  const progress = document.getElementById("report-progress");
  const result = document.getElementById("report-result");
  let following = false;

  const follow = async () => {
    try {
      const answer = await fetch(`/report/state?terminal=${encodeURIComponent(terminal)}`);
      const now = await answer.json();
      said.textContent = now.said;
      progress.hidden = !now.running;
      following = now.running;
      if (now.running) Object.assign(progress, { max: now.of, value: now.done });
      else result.innerHTML = now.result;
    } catch {
      said.textContent = said.dataset.lost;
    } finally {
      if (following) setTimeout(follow, ASK_MS);
    }
  };

  const make = async () => {
    const days = [...document.querySelectorAll('#report-days [aria-pressed="true"]')].map((key) => key.value);
    said.textContent = (await window.peakshade.post("/report/make", { days })).said;
    if (said.textContent || following) return;
    following = true;
    follow();
  };

  // The clipboard's own interface is there only with TLS or on this computer; the old way works everywhere.
  const copy = async (text) => {
    if (navigator.clipboard) return navigator.clipboard.writeText(text.textContent);
    getSelection().selectAllChildren(text);
    document.execCommand("copy");
  };

  document.addEventListener("click", async (event) => {
    const key = event.target.closest("button");
    const text = document.getElementById("report-summary");
    const copied = document.getElementById("report-copied");
    if (key?.closest("#report-days")) key.setAttribute("aria-pressed", String(key.ariaPressed !== "true"));
    else if (key?.id === "report-make") make();
    else if (key?.id === "report-share" && navigator.share) navigator.share({ text: text.textContent });
    else if (key?.id === "report-copy" || key?.id === "report-share") {
      await copy(text);
      copied.textContent = copied.dataset.copied;
    }
  });
  follow();
})();
