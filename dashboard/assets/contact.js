"use strict";

// Judges in the browser whether the page still speaks of now. Only differences of this browser's clock count,
// so it need not agree with the computer's.
(() => {
  let last = null;
  let spoke = null;
  let arrivedMs = Date.now();

  const spanText = (seconds) => {
    if (seconds < 60) return `${Math.floor(seconds)} s`;
    const minutes = Math.floor(seconds / 60);
    if (minutes < 60) return `${minutes} min`;
    return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  };

  const judge = (contact, words) => {
    const sinceArrivalS = Math.max(0, (Date.now() - arrivedMs) / 1000);
    if (sinceArrivalS > words.silent_after_s) return "page";
    if (contact.state !== "ok") return contact.state;
    return contact.written_age_s + sinceArrivalS > words.silent_after_s ? "agent-silent" : null;
  };

  window.dash_clientside = Object.assign({}, window.dash_clientside);
  Object.assign((window.dash_clientside.peakshade ||= {}), {
    watchContact(_tick, contact, words) {
      if (!contact && last) {
        // The page was opened anew: what was known of it belongs to the page that was left.
        [last, spoke, arrivedMs] = [null, null, Date.now()];
      } else if (contact && contact !== last) {
        [last, arrivedMs] = [contact, Date.now()];
        if (contact.clock) spoke = { clock: contact.clock, ms: arrivedMs - contact.written_age_s * 1000 };
      }
      if (!last) {
        const early = Date.now() - arrivedMs <= words.silent_after_s * 1000;
        return [early ? "crew waiting" : "crew lost", early, words.title_never, words.page, ""];
      }
      const finding = judge(last, words);
      if (!finding) return ["crew live", true, "", "", ""];
      const title = spoke
        ? words.title.replace("{span}", spanText((Date.now() - spoke.ms) / 1000))
        : words.title_never;
      const lastWord = spoke ? words.last.replace("{clock}", spoke.clock) : "";
      return ["crew lost", false, title, words[finding], lastWord];
    },
  });
})();
