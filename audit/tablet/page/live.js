"use strict";
// What every page here does: it stays connected, and shows plainly when it is not.
const live = (() => {
  const dead = document.getElementById("dead");
  const deadAfter = 2600; // ms: more than two beats, so that three seconds are kept
  let draw = () => {}, version = null, heard = 0, source = null;
  let broken = false; // the connection ended
  let ahead = null; // ms that this clock is ahead of the watch's

  // Live or not: whoever looks at an old state must see that.
  const alive = () => {
    const live = !broken && heard > 0 && performance.now() - heard < deadAfter;
    document.body.dataset.live = live ? "yes" : "no";
    dead.hidden = live;
    if (!live && dead.dataset.since !== String(heard)) {
      dead.dataset.since = String(heard);
      dead.textContent = (heard ? "NOT LIVE since " + new Date(Date.now() - (performance.now() - heard)).toLocaleTimeString() : "NOT LIVE YET");
    }
  };
  const hear = () => {
    heard = performance.now();
    broken = false;
    alive();
  };
  // A page of an earlier watch loads anew: its script may be another.
  const check = (v) => {
    if (version !== null && version !== v) location.reload();
    version = v;
  };
  let tried = 0;
  const connect = () => {
    source?.close();
    tried = performance.now();
    source = new EventSource("events");
    source.addEventListener("error", () => {
      broken = true;
      alive();
    });
    source.addEventListener("state", (e) => {
      const s = JSON.parse(e.data);
      hear();
      check(s.version);
      draw(s);
    });
    source.addEventListener("beat", (e) => {
      const beat = JSON.parse(e.data);
      hear();
      ahead = Date.now() - beat.now;
      check(beat.version);
    });
  };
  setInterval(() => {
    alive();
    const now = performance.now();
    // The browser tries again by itself, but not after every error, and not soon.
    if (now - heard > deadAfter && now - tried > 4000) connect();
  }, 250);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) {
      if (performance.now() - heard > deadAfter) connect();
      stayAwake();
    }
  });

  // The screen stays on where the browser can hold it.
  let awake = null;
  const stayAwake = async () => {
    try {
      if (navigator.wakeLock && (!awake || awake.released)) awake = await navigator.wakeLock.request("screen");
    } catch { /* the browser says no: low battery, or not asked by a touch */ }
  };

  // How long ago something was, by the clock of the watch; empty as long as that is not known.
  const age = (what, ms) => {
    if (ahead === null) return "";
    const s = Math.max(0, Math.round((Date.now() - ahead - ms) / 1000));
    return what + " " + (s < 60 ? s + " s" : s < 3600 ? Math.floor(s / 60) + " min" : Math.floor(s / 3600) + " h") + " ago";
  };
  return {
    age, stayAwake,
    connect: (how) => {
      draw = how;
      stayAwake();
      connect();
    },
  };
})();
