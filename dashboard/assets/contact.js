"use strict";

// Judges in the browser whether the page still speaks of now. Only differences of this browser's clock count,
// so it need not agree with the computer's.
(() => {
  let last = null;
  let arrivedMs = Date.now();

  const spanText = (seconds) => {
    if (seconds < 60) return `${Math.floor(seconds)} s`;
    const minutes = Math.floor(seconds / 60);
    if (minutes < 60) return `${minutes} min`;
    return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  };

  const judge = (contact, words) => {
    const sinceArrivalS = Math.max(0, (Date.now() - arrivedMs) / 1000);
    if (sinceArrivalS > words.silent_after_s) return { why: "page", sinceS: sinceArrivalS };
    if (contact.state !== "ok") return { why: contact.state, sinceS: sinceArrivalS };
    const sinceWrittenS = contact.written_age_s + sinceArrivalS;
    return sinceWrittenS > words.silent_after_s ? { why: "agent-silent", sinceS: sinceWrittenS } : null;
  };

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    peakshade: {
      isWide: () => window.innerWidth >= 960,
      watchContact(_tick, contact, words) {
        if (contact && contact !== last) {
          if (contact.clock) contact.spokeMs = Date.now() - contact.written_age_s * 1000;
          else if (last && last.clock) Object.assign(contact, { clock: last.clock, spokeMs: last.spokeMs });
          last = contact;
          arrivedMs = Date.now();
        }
        if (!last) {
          const waitedS = (Date.now() - arrivedMs) / 1000;
          const early = waitedS <= words.silent_after_s;
          return [early ? "crew waiting" : "crew lost", early, words.title_never, words.page, ""];
        }
        const finding = judge(last, words);
        if (!finding) return ["crew live", true, "", "", ""];
        const title = last.clock
          ? words.title.replace("{span}", spanText((Date.now() - last.spokeMs) / 1000))
          : words.title_never;
        const lastWord = last.clock ? words.last.replace("{clock}", last.clock) : "";
        return ["crew lost", false, title, words[finding.why], lastWord];
      },
    },
  });
})();
