"use strict";

// On the day page: a tap in a picture is a time, a drag of the mouse a shorter span; what is told goes to the
// agent, and labels stay in this browser.
(() => {
  const KEPT = "day-labels";
  const SHORTEST_DRAG = 0.01;
  const { post } = window.peakshade;
  const { terminal } = document.body.dataset;
  const byId = (id) => document.getElementById(id);
  const picture = () => byId("day-figure");
  const shownWindow = () => ["start", "end"].map((end) => Number(picture()?.dataset[end]));
  const kept = () => JSON.parse(localStorage[KEPT] || "[]");

  // Swedish writes dates as the fields have them.
  const fieldText = (unixS) =>
    new Intl.DateTimeFormat("sv-SE", { timeZone: picture().dataset.zone, dateStyle: "short", timeStyle: "medium" })
      .format(unixS * 1000);

  const tell = async (key) => {
    const { said } = await post("/day/tell", { key, time: byId("day-time").value, text: byId("day-text").value });
    byId("day-told").textContent = said;
  };

  const labels = async (key, text) => {
    const [start, end] = [byId("label-start").value, byId("label-end").value];
    const found = await post("/day/labels", { key, text, start, end, labels: kept(), window: shownWindow() });
    byId("label-said").textContent = found.said;
    if (!found.labels) return;
    localStorage[KEPT] = JSON.stringify(found.labels);
    byId("label-list").innerHTML = found.list;
    byId("label-lane").innerHTML = found.track;
  };

  const save = async () => {
    const { file } = await post("/day/labels", { labels: kept(), window: shownWindow() });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([file], { type: "text/csv" }));
    link.download = "labels.csv";
    link.click();
    URL.revokeObjectURL(link.href);
  };

  // The form begins with the span that is shown.
  const fill = () => {
    const fields = [byId("label-start"), byId("label-end")];
    shownWindow().forEach((unixS, end) => (fields[end].value = fieldText(unixS)));
  };

  const taps = { "late-note": tell, "note-move": tell, "label-save": save };
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-tell]")?.dataset.tell;
    if (!key) return;
    const told = JSON.parse(key);
    if (told.type === "note-move") byId("late-note").open = true;
    (taps[told.type] || labels)(told);
  });
  byId("label-read")?.addEventListener("change", async ({ target }) => {
    await labels({ type: "label-read" }, await target.files[0].text());
    target.value = "";
  });

  let from = null;
  const at = (plot, event) => {
    const box = plot.getBoundingClientRect();
    return Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
  };
  const timeAt = (share) => {
    const [start, end] = shownWindow();
    return start + share * (end - start);
  };
  document.addEventListener("pointerdown", (event) => {
    const plot = event.target.closest(".plot");
    from = plot && event.button === 0 ? { plot, share: at(plot, event), mouse: event.pointerType === "mouse" } : null;
  });
  document.addEventListener("pointermove", (event) => {
    if (!from?.mouse) return;
    const ends = [from.share, at(from.plot, event)].sort((a, b) => a - b);
    from.plot.style.setProperty("--from", `${100 * ends[0]}%`);
    from.plot.style.setProperty("--to", `${100 * (1 - ends[1])}%`);
    from.plot.classList.add("dragged");
  });
  document.addEventListener("pointerup", (event) => {
    if (!from) return;
    const ends = [from.share, at(from.plot, event)].sort((a, b) => a - b);
    from.plot.classList.remove("dragged");
    if (from.mouse && ends[1] - ends[0] > SHORTEST_DRAG) {
      const [start, end] = ends.map((share) => timeAt(share).toFixed(0));
      const named = terminal ? `terminal=${encodeURIComponent(terminal)}&` : "";
      location.assign(`${location.pathname}?${named}from=${start}&to=${end}`);
    } else if (ends[1] - ends[0] <= SHORTEST_DRAG) {
      byId("day-time").value = fieldText(timeAt(ends[0]));
    }
    from = null;
  });

  if (picture() && byId("labels")) {
    fill();
    labels();
    document.addEventListener("drawn", () => labels());
  }
})();
