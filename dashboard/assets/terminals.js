"use strict";

// Asks every five seconds for the list, and says so where nobody answers.
(() => {
  const POLL_MS = 5000;
  const list = document.getElementById("terminal-list");

  const poll = async () => {
    try {
      const answer = await fetch(list.dataset.news);
      list.classList.toggle("old", !answer.ok);
      if (answer.ok) list.innerHTML = await answer.text();
    } catch {
      list.classList.add("old");
    } finally {
      setTimeout(poll, POLL_MS);
    }
  };
  setTimeout(poll, POLL_MS);
})();
