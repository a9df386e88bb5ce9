"use strict";

// Asks for what has changed, puts it in its place, sends what was tapped, and judges whether the page still
// speaks of now. Only differences of this browser's clock count, so it need not agree with the computer's.
(() => {
  const SAID_MS = 4000;
  // What the agent writes is up to two decisions old; by no more does the clock run before it.
  const AHEAD_MS = 20000;
  const crew = document.getElementById("crew");
  const words = JSON.parse(crew.dataset.words);
  const first = JSON.parse(document.getElementById("first").textContent);
  const { post } = window.peakshade;
  const digests = {};
  let arrivedMs = Date.now();
  let contact = first.contact;
  let spoke = null;
  let held = false;
  let clockMs = 0;

  const spanText = (seconds) => {
    if (seconds < 60) return `${Math.floor(seconds)} s`;
    const minutes = Math.floor(seconds / 60);
    if (minutes < 60) return `${minutes} min`;
    return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  };

  // A part that is drawn anew keeps what was opened in it and the key that has the focus.
  const place = (name, html) => {
    const part = document.getElementById(name);
    const opened = [...part.querySelectorAll("details[open] > summary")].map((one) => one.textContent);
    const focused = part.contains(document.activeElement) && document.activeElement.dataset.tell;
    part.innerHTML = html;
    for (const summary of part.querySelectorAll("summary")) {
      if (opened.includes(summary.textContent)) summary.parentElement.open = true;
    }
    if (focused) [...part.querySelectorAll("[data-tell]")].find((key) => key.dataset.tell === focused)?.focus();
  };

  const arrived = (news) => {
    arrivedMs = Date.now();
    contact = news.contact;
    if (contact.clock) spoke = { clock: contact.clock, ms: arrivedMs - contact.written_age_s * 1000 };
    for (const [name, html] of Object.entries(news.parts || {})) place(name, html);
    Object.assign(digests, news.digests);
    window.peakshade.announce(news.alarms, words.repeat_ms);
    window.peakshade.peak(news.peaking);
    judge();
  };

  const finding = () => {
    const sinceArrivalS = Math.max(0, (Date.now() - arrivedMs) / 1000);
    if (sinceArrivalS > words.silent_after_s) return "page";
    if (contact.state !== "ok") return contact.state;
    if (contact.over) return null;
    return contact.written_age_s + sinceArrivalS > words.silent_after_s ? "agent-silent" : null;
  };

  const show = (id, text) => {
    const line = document.getElementById(id);
    if (line.textContent !== text) line.textContent = text;
  };

  // The clock goes on between two answers, by the watch of a live day; without contact it stands.
  const runClock = () => {
    const times = document.querySelector(".times");
    if (!contact.unix_s || !times) return;
    const toldMs = contact.unix_s * 1000 + Date.now() - arrivedMs;
    clockMs = clockMs > toldMs && clockMs < toldMs + AHEAD_MS ? clockMs : toldMs;
    const text = (timeZone) =>
      new Date(clockMs).toLocaleTimeString("en-GB", { timeZone, hour: "2-digit", minute: "2-digit" });
    const { form, zone } = times.dataset;
    times.textContent = form.replace("{clock}", text(zone)).replace("{utc}", text("UTC"));
  };

  const judge = () => {
    const found = finding();
    if (!found) runClock();
    crew.className = found ? "crew lost" : "crew live";
    document.getElementById("cover").hidden = !found;
    window.peakshade.contactLost(Boolean(found && spoke && contact.rings !== false), words.lost_every_ms, words.lost);
    if (!found) return;
    const span = spoke && spanText((Date.now() - spoke.ms) / 1000);
    show("cover-title", spoke ? words.title.replace("{span}", span) : words.title_never);
    show("cover-why", words[found]);
    show("cover-last", spoke ? words.last.replace("{clock}", spoke.clock) : "");
  };

  const ask = async () => {
    // A part that is drawn anew under the thumb would swallow the tap.
    if (held) return;
    const news = await post("/crew/news", { digests });
    if (!held) arrived(news);
  };

  const poll = async () => {
    try {
      await ask();
    } catch (error) {
      if (!(error instanceof TypeError) && !/: \d{3}$/.test(error.message)) throw error;
    } finally {
      setTimeout(poll, words.poll_ms);
    }
  };

  // What became of a tap is said near the key, and goes when it has been read.
  const say = (delivery, said, lasts) => {
    delivery.textContent = said;
    if (!lasts) setTimeout(() => delivery.textContent === said && (delivery.textContent = ""), SAID_MS);
  };

  const tell = async (button, delivery) => {
    const key = JSON.parse(button.dataset.tell);
    const fields = [...(button.closest(".typed")?.querySelectorAll("input, select") || [])];
    const typed = Object.fromEntries(fields.map((field) => [field.name, field.value]));
    try {
      const { said, delivered } = await post("/crew/tell", { key, typed, by: window.peakshade.myName() });
      say(delivery, said, !delivered);
      if (delivered) for (const field of fields) if (field.tagName === "INPUT") field.value = "";
      await ask();
    } catch {
      say(delivery, words.page, true);
    }
  };

  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-tell]");
    const near = key?.closest(".side") || crew;
    if (key) tell(key, near.querySelector(".delivery"));
  });
  document.addEventListener("pointerdown", () => (held = true));
  for (const end of ["pointerup", "pointercancel"]) {
    document.addEventListener(end, () => setTimeout(() => (held = false)));
  }
  document.addEventListener("units-changed", () => ask());

  arrived(first);
  setInterval(judge, 1000);
  setTimeout(poll, words.poll_ms);
})();
