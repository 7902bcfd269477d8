"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const make = (name, props, ...children) => {
    const e = Object.assign(document.createElement(name), props);
    e.append(...children);
    return e;
  };
  const tiles = new Map(); // by the names of sets
  const tile = () => {
    const done = make("div", { className: "done" });
    return {
      e: make("li"), name: make("h2"), word: make("p", { className: "word" }), number: make("p", { className: "number" }),
      bar: make("div", { className: "bar" }, done), done, what: make("p"), age: make("p", { className: "age" }), since: 0,
    };
  };
  const draw = (s) => {
    const seen = new Set();
    s.sets.forEach((q, i) => {
      seen.add(q.name);
      let t = tiles.get(q.name);
      if (!t) {
        t = tile();
        t.e.append(t.name, t.word, t.number, t.bar, t.what, t.age);
        tiles.set(q.name, t);
      }
      t.e.dataset.phase = q.phase;
      t.name.textContent = q.name;
      t.word.textContent = q.word;
      t.number.textContent = q.number;
      t.bar.hidden = q.part < 0;
      t.done.style.width = Math.max(0, 100 * q.part) + "%";
      t.what.textContent = q.do;
      t.since = q.since;
      const list = at("sets");
      if (list.children[i] !== t.e) list.insertBefore(t.e, list.children[i] || null);
    });
    for (const [name, t] of tiles) {
      if (!seen.has(name)) {
        t.e.remove();
        tiles.delete(name);
      }
    }
    at("none").hidden = s.sets.length > 0;
    at("trouble").hidden = !s.trouble;
    at("trouble").textContent = s.trouble;
    at("left").hidden = !s.left;
    at("left").textContent = "There are more sets than are shown here.";
    const n = s.sets.length;
    at("count").textContent = n === 0 ? "" : (n === 1 ? "1 set" : n + " sets") + (s.needs === 0 ? ", none needs anybody" : s.needs === 1 ? ", 1 needs somebody" : ", " + s.needs + " need somebody");
    document.title = (s.needs > 0 ? "(" + s.needs + ") " : "") + "All sets";
    fit();
    ages();
  };
  // Few sets fill the screen, many have the least size that can be read at a desk.
  const fit = () => {
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const side = Math.sqrt(1.2 * innerWidth * innerHeight / Math.max(tiles.size, 1));
    at("sets").style.setProperty("--tile", Math.min(Math.max(side, 17 * rem), 60 * rem) + "px");
  };
  const ages = () => {
    for (const t of tiles.values()) t.age.textContent = t.since > 0 ? live.age("since", t.since).replace(" ago", "") : "";
  };
  live.connect(draw);
  setInterval(ages, 1000);
  addEventListener("resize", fit);
})();
