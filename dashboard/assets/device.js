"use strict";

// What is set for this screen, and remembered by its browser: theme, units, sound, a screen that stays on. It
// runs before the page is drawn, so that the first frame has its theme.
(() => {
  const STORE = "peakshade";
  const settings = {
    theme: "day", units: "metric", sound: false, screen: false, name: "", ...JSON.parse(localStorage[STORE] || "{}"),
  };
  const rung = new Map();
  let known = null;
  let lostRungMs = null;
  let lostSeen = false;
  let audio = null;
  let wakeLock = null;
  let video = null;

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
      "screen-key": settings.screen,
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

  const beep = (startS, hz = 880) => {
    const tone = audio.createOscillator();
    const loudness = audio.createGain();
    tone.frequency.value = hz;
    loudness.gain.setValueAtTime(0.4, startS);
    loudness.gain.exponentialRampToValueAtTime(0.001, startS + 0.35);
    tone.connect(loudness).connect(audio.destination);
    tone.start(startS);
    tone.stop(startS + 0.4);
  };

  const wakeSound = () => {
    audio ||= new AudioContext();
    if (audio.state === "suspended") audio.resume();
  };

  // A browser lets a page sound once it has been touched; what was due before then is not made up for.
  const maySound = () => navigator.userActivation?.hasBeenActive ?? audio?.state === "running";

  const sound = (beeps) => {
    navigator.vibrate?.(Array(beeps).fill([300, 200]).flat());
    if (!maySound()) return;
    wakeSound();
    for (let i = 0; i < beeps; i += 1) beep(audio.currentTime + i * 0.5);
  };

  // Browsers know service workers and notifications on pages of their own computer, or with TLS.
  const worker = () => ("serviceWorker" in navigator ? navigator.serviceWorker.register("/sw.js") : null);

  const notify = async (title, body) => {
    if (!("Notification" in window) || Notification.permission !== "granted" || !worker()) return;
    await worker();
    const ready = await navigator.serviceWorker.ready;
    await ready.showNotification(title, { body, tag: STORE, renotify: true });
  };

  const ring = (beeps, title, body) => {
    if (!settings.sound) return;
    sound(beeps);
    notify(title, body);
  };

  // Over plain http no browser holds the screen by its own lock, but all while a video with a sound track plays.
  // It goes round by hand, since one that loops by itself does not count everywhere.
  const playStill = async () => {
    if (!video) {
      video = document.createElement("video");
      video.src = document.getElementById("device-said").dataset.video;
      video.playsInline = true;
      video.addEventListener("ended", () => video.play());
    }
    await video.play();
  };

  const holdScreen = async () => {
    if ("wakeLock" in navigator) wakeLock = await navigator.wakeLock.request("screen");
    else await playStill();
  };

  const letScreenGo = async () => {
    video?.pause();
    await wakeLock?.release();
    wakeLock = null;
  };

  // Without a touch a browser may refuse; then the first one does it.
  const holdIfAsked = async () => {
    try {
      if (settings.screen && document.visibilityState === "visible") await holdScreen();
    } catch (error) {
      say(error.name === "NotAllowedError" ? "touch" : "impossible");
    }
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
      wakeSound();
      if (worker()) await Promise.all([worker(), Notification.requestPermission?.()]);
    },
    "test-key": () => {
      wakeSound();
      say("tested");
      sound(3);
      notify(document.getElementById("test-key").textContent, "");
    },
    "screen-key": async () => {
      set({ screen: !settings.screen });
      say("");
      await (settings.screen ? holdIfAsked() : letScreenGo());
    },
  };

  document.addEventListener("click", (event) => toggles[event.target.closest(".device button")?.id]?.());
  document.addEventListener("visibilitychange", () => {
    holdIfAsked();
  });
  document.addEventListener("DOMContentLoaded", () => {
    show();
    if (document.body.dataset.units !== `${settings.units}${units().mark}`) tellServer();
    const name = document.getElementById("my-name");
    name.value = settings.name;
    name.addEventListener("change", () => set({ name: name.value.trim() }));
    holdIfAsked();
    if (settings.sound && !maySound()) say("touch");
  });
  document.addEventListener("pointerdown", () => {
    lostSeen = true;
    if (settings.sound && (!audio || audio.state === "suspended")) {
      wakeSound();
      say("");
    }
    if (settings.screen && !wakeLock && (!video || video.paused)) holdIfAsked();
  });
  document.documentElement.dataset.theme = settings.theme;

  // What stood in the place of a page goes when the page is drawn.
  new MutationObserver(() => {
    if (document.querySelector("#react-entry-point .drawn")) document.getElementById("until-drawn")?.remove();
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

    // What the server answers to something told or asked about this page's terminal.
    post: async (address, body) => {
      const answer = await fetch(address, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ terminal: document.body.dataset.terminal, ...body }),
      });
      if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
      return answer.json();
    },

    wakeSound,
    myName: () => settings.name,

    // A short tone, for whoever turns the dish.
    tone: (hz) => beep(audio.currentTime, hz),

    // Each sending rings once: a new alert, a graver one, a reminder of one that nobody has seen. One that was
    // over for a short time and is no graver is no news.
    announce(alarms, repeatMs) {
      const now = Date.now();
      const isRepeat = ({ rule, first, beeps }) =>
        first && rung.has(rule) && now - rung.get(rule).ms < repeatMs && beeps <= rung.get(rule).beeps;
      const fresh = known === null ? [] : alarms.filter((alarm) => !known.has(alarm.id) && !isRepeat(alarm));
      known = new Set(alarms.map((alarm) => alarm.id));
      for (const { rule, beeps } of fresh) rung.set(rule, { ms: now, beeps });
      const gravest = fresh.sort((one, other) => other.beeps - one.beeps)[0];
      if (gravest) ring(gravest.beeps, gravest.title, gravest.action);
    },

    // Said again as what is urgent, until somebody touches the page.
    contactLost(isLost, everyMs, title) {
      const now = Date.now();
      const isDue = lostRungMs === null || (!lostSeen && everyMs > 0 && now - lostRungMs >= everyMs);
      if (!isLost) lostRungMs = null;
      else if (isDue) {
        if (lostRungMs === null) lostSeen = false;
        lostRungMs = now;
        ring(3, title, "");
      }
    },
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside);
  Object.assign((window.dash_clientside.peakshade ||= {}), {
    themeAndUnits: () => [settings.theme, units()],
  });
})();
