"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const make = (name, props, ...children) => {
    const e = Object.assign(document.createElement(name), props);
    e.append(...children);
    return e;
  };
  const set = (e, text) => { if (e.textContent !== text) e.textContent = text; };
  const show = (img, name) => {
    if (name) {
      const url = "picture/" + name;
      if (img.getAttribute("src") !== url) img.src = url;
    }
  };

  // The state, as it comes.
  let state = null;

  const draw = (s) => {
    const before = state;
    state = s;
    document.body.dataset.phase = s.phase;
    set(at("word"), s.word);
    set(at("number"), s.number);
    document.title = s.headline || s.word;
    if (!before || before.headline !== s.headline) set(at("said"), s.headline);
    at("progress").hidden = s.part < 0;
    at("done").style.width = Math.max(0, 100 * s.part) + "%";
    set(at("do"), s.do);
    set(at("detail"), s.detail);
    at("deciding").hidden = !s.picture;
    show(at("deciding").firstElementChild, s.picture);
    at("newest").hidden = !s.newest && !at("newest").querySelector("img").getAttribute("src");
    show(at("newest").querySelector("img"), s.newest);
    list(at("closed"), s.closed, closed);
    at("none").hidden = s.closed.length > 0;
    list(at("open"), s.open, open);
    at("open-part").hidden = s.open.length === 0;
    list(at("notes"), s.notes, (text) => make("p", { textContent: text }));
    ages();
    sounds(before, s);
    document.dispatchEvent(new CustomEvent("state", { detail: s }));
  };

  // A list is made anew where it changed, and only then, so that a touch is not lost.
  const list = (e, items, entry) => {
    const key = JSON.stringify(items);
    if (e.dataset.key === key) return;
    e.dataset.key = key;
    const focused = e.contains(document.activeElement) ? document.activeElement.dataset.sequence : null;
    e.replaceChildren(...items.map(entry));
    if (focused) e.querySelector(`[data-sequence="${focused}"]`)?.focus();
  };
  const closed = (q) => {
    const verdict = make("span", { className: "verdict", textContent: q.verdict });
    verdict.dataset.word = q.verdict.split(" ")[0];
    const b = make("button", { type: "button", className: "tile" });
    if (q.picture) b.append(make("img", { src: "picture/" + q.picture, alt: "" }));
    b.append(make("span", { textContent: q.title }), verdict, make("span", { className: "quiet", textContent: q.text }));
    opens(b, q.sequence);
    return make("li", {}, b);
  };
  const open = (f) => {
    const li = make("li", {}, make("p", { className: "title", textContent: f.title + (f.where ? " (" + f.where + ")" : "") }), make("p", { textContent: f.severity + ": " + f.text }));
    li.dataset.word = f.severity;
    if (f.sequence) {
      const b = make("button", { type: "button", textContent: "Show " + f.where });
      opens(b, f.sequence);
      li.append(b);
    }
    return li;
  };

  // One sequence, over the state.
  const dialog = at("sequence"), frame = dialog.querySelector("iframe");
  const opens = (b, name) => {
    b.dataset.sequence = name;
    b.addEventListener("click", () => {
      frame.src = "sequence/" + name;
      dialog.dataset.sequence = name;
      dialog.showModal();
      dialog.dispatchEvent(new Event("opened"));
    });
  };
  at("back").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => {
    if (!dialog.open) frame.removeAttribute("src"); // it may be open again meanwhile
  });

  const ages = () => {
    if (state && state.came) set(at("age"), live.age("came", state.came));
  };

  // Sound, after one touch: the browser allows none before.
  let audio = null, last = 0;
  const tunes = { good: [880], inspect: [660, 660], stalled: [440, 440, 0, 440, 440], again: [784, 622, 494], lost: [330, 330, 330] };
  const play = (phase) => {
    if (!audio || !tunes[phase]) return;
    last = performance.now();
    tunes[phase].forEach((hertz, i) => {
      if (!hertz) return;
      const from = audio.currentTime + i * 0.25, tone = audio.createOscillator(), loud = audio.createGain();
      tone.frequency.value = hertz;
      loud.gain.setValueAtTime(0, from);
      loud.gain.linearRampToValueAtTime(0.4, from + 0.02);
      loud.gain.linearRampToValueAtTime(0, from + 0.2);
      tone.connect(loud).connect(audio.destination);
      tone.start(from);
      tone.stop(from + 0.22);
    });
  };
  const sounds = (before, s) => {
    if (before && (before.phase !== s.phase || before.headline !== s.headline && s.phase !== "shooting")) play(s.phase);
  };
  const repeatAfter = 20000;
  setInterval(() => {
    if (state && !state.silenced && (state.phase === "again" || state.phase === "lost") && performance.now() - last > repeatAfter) play(state.phase);
  }, 1000);
  at("sound").addEventListener("click", () => {
    if (audio) {
      audio.close();
      audio = null;
    } else {
      audio = new AudioContext();
      play("good");
    }
    at("sound").setAttribute("aria-pressed", String(!!audio));
    set(at("sound"), audio ? "Sound on" : "Sound off");
    live.stayAwake();
  });

  live.connect(draw);
  setInterval(ages, 250);
})();
