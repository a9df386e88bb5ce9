"use strict";

// What is set for this screen, and remembered by its browser: theme, units, sound, a screen that stays on. It
// runs before the page is drawn, so that the first frame has its theme.
(() => {
  const STORE = "peakshade";
  const settings = { theme: "day", units: "metric", sound: false, ...JSON.parse(localStorage[STORE] || "{}") };
  let known = null;
  let lost = false;
  let audio = null;
  let wakeLock = null;

  // The mark between whole and parts is that of this browser's locale.
  const units = () => ({
    imperial: settings.units === "imperial",
    mark: (1.5).toLocaleString(navigator.language)[1],
  });

  // The server words and draws by it; a page that it drew for other units is asked for once more.
  const tellServer = () => {
    const wanted = units().imperial ? "imperial" : "metric";
    document.cookie = `units=${wanted}${units().mark}; path=/; max-age=31536000; samesite=strict`;
    const kept = document.cookie.includes(`units=${wanted}`);
    if (kept && document.getElementById("plan")) location.reload();
    document.dispatchEvent(new Event("units-changed"));
  };

  const say = (name) => {
    const line = document.getElementById("device-said");
    line.textContent = name ? line.dataset[name] : "";
  };

  const showPressed = () => {
    const pressed = {
      "theme-key": settings.theme === "night",
      "units-key": settings.units === "imperial",
      "sound-key": settings.sound,
      "screen-key": Boolean(wakeLock),
    };
    for (const [id, on] of Object.entries(pressed)) {
      document.getElementById(id)?.setAttribute("aria-pressed", String(on));
    }
  };

  const show = () => {
    document.documentElement.dataset.theme = settings.theme;
    showPressed();
  };

  const set = (change) => {
    Object.assign(settings, change);
    localStorage[STORE] = JSON.stringify(settings);
    show();
  };

  const tellFigures = (name, data) => window.dash_clientside?.set_props?.(name, { data });

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

  const ring = (beeps) => {
    if (!settings.sound) return;
    navigator.vibrate?.(Array(beeps).fill([300, 200]).flat());
    audio ||= new AudioContext();
    if (audio.state === "suspended") return;
    for (let i = 0; i < beeps; i += 1) beep(audio.currentTime + i * 0.5);
  };

  const holdScreen = async () => {
    wakeLock = await navigator.wakeLock.request("screen");
  };

  const toggles = {
    "theme-key": () => {
      set({ theme: settings.theme === "night" ? "day" : "night" });
      tellFigures("theme", settings.theme);
    },
    "units-key": () => {
      set({ units: settings.units === "imperial" ? "metric" : "imperial" });
      tellFigures("display-units", units());
      tellServer();
    },
    "sound-key": async () => {
      set({ sound: !settings.sound });
      say(settings.sound ? "sound" : "");
      if (!settings.sound) return;
      audio ||= new AudioContext();
      await audio.resume();
      ring(2);
    },
    "screen-key": async () => {
      if (!("wakeLock" in navigator)) return say("impossible");
      if (wakeLock) {
        await wakeLock.release();
        wakeLock = null;
      } else {
        await holdScreen();
      }
      showPressed();
    },
  };

  document.addEventListener("click", (event) => toggles[event.target.closest(".device button")?.id]?.());
  document.addEventListener("visibilitychange", () => {
    if (wakeLock && document.visibilityState === "visible") holdScreen();
  });
  document.addEventListener("DOMContentLoaded", () => {
    show();
    if (document.body.dataset.units !== `${settings.units}${units().mark}`) tellServer();
    if (settings.sound) {
      audio = new AudioContext();
      if (audio.state === "suspended") say("touch");
    }
  });
  document.addEventListener("pointerdown", async () => {
    if (audio?.state !== "suspended") return;
    await audio.resume();
    say("");
  });
  document.documentElement.dataset.theme = settings.theme;

  // What stood in the place of a page goes when the page is drawn. The upload component brings a file field
  // without a name, and comes later than its page.
  new MutationObserver(() => {
    if (document.querySelector("#react-entry-point .drawn")) document.getElementById("until-drawn")?.remove();
    for (const field of document.querySelectorAll("input[type=file]:not([aria-label])")) {
      field.setAttribute("aria-label", field.parentElement.textContent);
    }
  }).observe(document.documentElement, { childList: true, subtree: true });

  // On paper nothing can be opened, and a figure fits the paper: A4 has some 700 by 1000 px of CSS.
  const PAPER_WIDTH_PX = 640;
  const PAPER_HEIGHT_PX = 760;
  const heights = new Map();
  const folded = [];
  window.addEventListener("beforeprint", () => {
    for (const part of document.querySelectorAll("details:not([open]):not(.tell)")) {
      folded.push(part);
      part.open = true;
    }
    for (const plot of document.querySelectorAll(".js-plotly-plot")) {
      // The layout forgets its height when the window changes its size; what is drawn has it.
      const drawn = plot.querySelector(".main-svg").getBoundingClientRect().height;
      heights.set(plot, drawn);
      window.Plotly.relayout(plot, { width: PAPER_WIDTH_PX, height: Math.min(drawn, PAPER_HEIGHT_PX) });
    }
  });
  window.addEventListener("afterprint", () => {
    for (const part of folded.splice(0)) part.open = false;
    for (const plot of document.querySelectorAll(".js-plotly-plot")) {
      window.Plotly.relayout(plot, { width: null, autosize: true, height: heights.get(plot) });
    }
  });

  window.peakshade = {
    units,

    // Each sending rings once: a new alert, a graver one, a reminder of one that nobody has seen.
    announce(alarms) {
      const fresh = known === null ? [] : alarms.filter((alarm) => !known.has(alarm.id));
      known = new Set(alarms.map((alarm) => alarm.id));
      if (fresh.length) ring(Math.max(...fresh.map((alarm) => alarm.beeps)));
    },

    contactLost(isLost) {
      if (isLost && !lost) ring(3);
      lost = isLost;
    },
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside);
  Object.assign((window.dash_clientside.peakshade ||= {}), {
    isWide: () => window.innerWidth >= 960,
    look: () => [settings.theme, units()],
  });
})();
