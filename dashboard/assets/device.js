"use strict";

// What this phone does by itself: its theme, its sound, its screen, its notifications.
(() => {
  let wakeLock = null;
  let known = null;
  let audio = null;

  const beep = (startS) => {
    const tone = audio.createOscillator();
    const loudness = audio.createGain();
    tone.frequency.value = 880;
    loudness.gain.setValueAtTime(0.4, startS);
    loudness.gain.exponentialRampToValueAtTime(0.001, startS + 0.35);
    tone.connect(loudness).connect(audio.destination);
    tone.start(startS);
    tone.stop(startS + 0.4);
  };

  const holdScreen = async () => {
    wakeLock = await navigator.wakeLock.request("screen");
  };

  document.addEventListener("visibilitychange", () => {
    if (wakeLock && document.visibilityState === "visible") holdScreen();
  });

  // The upload component brings a file field without a name, and comes later than its page.
  new MutationObserver(() => {
    for (const field of document.querySelectorAll("input[type=file]:not([aria-label])")) {
      field.setAttribute("aria-label", field.parentElement.textContent);
    }
  }).observe(document.documentElement, { childList: true, subtree: true });

  // On paper nothing can be opened, and a figure fits the paper: A4 has some 700 by 1000 px of CSS.
  const PAPER_PX = { ".trend .js-plotly-plot": 300, ".js-plotly-plot": 640 };
  const PAPER_HEIGHT_PX = 760;
  const heights = new Map();
  const folded = [];
  window.addEventListener("beforeprint", () => {
    for (const part of document.querySelectorAll("details:not([open]):not(.tell)")) {
      folded.push(part);
      part.open = true;
    }
    for (const plot of document.querySelectorAll(".js-plotly-plot")) {
      const kind = Object.keys(PAPER_PX).find((selector) => plot.matches(selector));
      // The layout forgets its height when the window changes its size; what is drawn has it.
      const drawn = plot.querySelector(".main-svg").getBoundingClientRect().height;
      const height = Math.min(drawn, PAPER_HEIGHT_PX);
      heights.set(plot, drawn);
      window.Plotly.relayout(plot, { width: PAPER_PX[kind], height });
    }
  });
  window.addEventListener("afterprint", () => {
    for (const part of folded.splice(0)) part.open = false;
    for (const plot of document.querySelectorAll(".js-plotly-plot")) {
      window.Plotly.relayout(plot, { width: null, autosize: true, height: heights.get(plot) });
    }
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside);
  Object.assign((window.dash_clientside.peakshade ||= {}), {
    isWide: () => window.innerWidth >= 960,

    markPage(pathname, names) {
      document.title = `${names[pathname] || ""} · peakshade`;
      for (const link of document.querySelectorAll("header a")) {
        if (link.pathname === pathname) link.setAttribute("aria-current", "page");
        else link.removeAttribute("aria-current");
      }
      return window.dash_clientside.no_update;
    },

    toggleTheme: (clicks, theme) =>
      clicks ? (theme === "night" ? "day" : "night") : window.dash_clientside.no_update,

    toggleUnits: (_clicks, units) => (units === "imperial" ? "metric" : "imperial"),

    // The mark between whole and parts is that of this browser's locale.
    showDisplayUnits(units) {
      const imperial = units === "imperial";
      return [String(imperial), { imperial, mark: (1.5).toLocaleString(navigator.language)[1] }];
    },

    showTheme(theme) {
      document.documentElement.dataset.theme = theme;
      return theme === "night" ? "true" : "false";
    },

    async toggleScreen(clicks, words) {
      if (!clicks) return ["false", ""];
      if (!("wakeLock" in navigator)) return ["false", words.impossible];
      if (wakeLock) {
        await wakeLock.release();
        wakeLock = null;
        return ["false", ""];
      }
      await holdScreen();
      return ["true", ""];
    },

    async toggleSound(clicks, words) {
      if (!clicks) return ["false", ""];
      if (audio) {
        await audio.close();
        audio = null;
        return ["false", ""];
      }
      audio = new AudioContext();
      beep(audio.currentTime);
      if (!("Notification" in window) || !window.isSecureContext) return ["true", words.sound_only];
      const answer = await Notification.requestPermission();
      return ["true", answer === "granted" ? "" : words.sound_only];
    },

    announce(alarms) {
      const fresh = known === null ? [] : alarms.filter((alarm) => !known.has(alarm.id));
      known = new Set(alarms.map((alarm) => alarm.id));
      if (!audio || !fresh.length) return window.dash_clientside.no_update;
      const beeps = Math.max(...fresh.map((alarm) => alarm.beeps));
      for (let i = 0; i < beeps; i += 1) beep(audio.currentTime + i * 0.5);
      if ("Notification" in window && Notification.permission === "granted") {
        for (const alarm of fresh) new Notification(alarm.title, { body: alarm.action, tag: alarm.id });
      }
      return window.dash_clientside.no_update;
    },
  });
})();
