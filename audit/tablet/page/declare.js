"use strict";
// What is declared of the sequence that is open. Nothing of it shows on a page for reading.
(() => {
  const at = (id) => document.getElementById(id);
  const make = (name, props, ...children) => {
    const e = Object.assign(document.createElement(name), props);
    e.append(...children);
    return e;
  };
  const dialog = at("sequence"), frame = dialog.querySelector("iframe"), sheet = at("sheet"), text = at("sheet-text");
  let choices = null; // of the sequence that is open
  let edition = null; // of the settings in force; null on a page for reading
  let kind = null; // of the sheet that is open
  let frameEdition = null; // of the part of the report that is shown
  let busy = false;

  const say = (what) => {
    at("answer").textContent = what;
    at("answer").hidden = !what;
  };

  // What can be declared of the sequence, as it is now.
  let asked = 0; // how often, as answers may come in another order
  const learn = async () => {
    const name = dialog.dataset.sequence, mine = ++asked;
    let got = null;
    try {
      const r = await fetch("choices/" + name, { cache: "no-store" });
      if (r.ok) got = await r.json();
    } catch { /* the page shows that it is not live */ }
    if (mine !== asked || !dialog.open) return;
    choices = got;
    at("declare").hidden = !choices || !!kind;
    if (!choices) return;
    for (const b of at("declare").children) b.hidden = !offers[b.dataset.kind]().some;
    if (kind && !offers[kind]().some) close();
    if (kind) fill(offers[kind]());
    renew();
  };
  // The part of the report is that of the settings in force, but not while something covers it.
  const renew = () => {
    if (kind || !choices || choices.edition === frameEdition) return;
    frameEdition = choices.edition;
    frame.contentWindow.location.replace("sequence/" + dialog.dataset.sequence + "?" + frameEdition);
  };

  const reasons = ["It is meant so", "Inspected at 100 %: sharp enough", "It does not show in the picture"];
  const choice = (type, value, title, about, checked) => {
    const input = make("input", { type, name: "choice", value, checked });
    return make("label", {}, input, make("span", {}, make("b", { textContent: title }), about ? make("span", { className: "quiet", textContent: about }) : ""));
  };
  // What each sheet offers.
  const offers = {
    "meant": () => ({
      some: choices.open.length > 0,
      title: "What is meant in " + choices.id + "?",
      explains: "The finding stays in the report with your reason, and no longer counts.",
      choices: choices.open.map((f) => choice("checkbox", f.rule, f.title, f.severity + ": " + f.text, choices.open.length === 1)),
      line: "Reason", reasons,
    }),
    "shot-again": () => ({
      some: choices.later.length > 0,
      title: "Which sequence repeats " + choices.id + "?",
      explains: choices.id + " no longer counts then; the one that repeats it does.",
      choices: choices.later.map((q) => choice("radio", q.sequence, q.text, "", false)),
    }),
    "view": () => ({
      some: true,
      title: "Which view does " + choices.id + " show?",
      explains: choices.view ? "Now: " + choices.view : "",
      choices: choices.views.map((v) => choice("radio", v.name, v.shown, v.by && v.by !== choices.id ? "now " + v.by : "", v.name === choices.view)),
      line: choices.views.length ? "Or a new view" : "Name of the view",
    }),
  };

  // What is chosen stays where what may be chosen has changed, and the focus with it.
  const fill = (o) => {
    at("sheet-title").textContent = o.title;
    at("sheet-explains").textContent = o.explains;
    const focused = document.activeElement;
    const before = new Map([...at("sheet-choices").querySelectorAll("input")].map((i) => [i.value, i]));
    at("sheet-choices").replaceChildren(...o.choices);
    for (const i of at("sheet-choices").querySelectorAll("input")) {
      const was = before.get(i.value);
      if (!was) continue;
      i.checked = was.checked;
      if (was === focused) i.focus();
    }
  };

  const open = (k) => {
    if (!choices) return;
    kind = k;
    const o = offers[k]();
    at("sheet-choices").replaceChildren();
    fill(o);
    at("sheet-line").hidden = !o.line;
    at("sheet-line").firstElementChild.textContent = o.line || "";
    text.value = "";
    at("sheet-reasons").replaceChildren(...(o.reasons || []).map((r) => {
      const b = make("button", { type: "button", textContent: r });
      b.addEventListener("click", () => { text.value = r; });
      return b;
    }));
    at("sheet-reasons").hidden = !o.reasons;
    say("");
    sheet.hidden = false;
    frame.hidden = true;
    at("declare").hidden = true;
    at("sheet-title").scrollIntoView();
    (at("sheet-choices").querySelector("input") || text).focus();
  };
  const close = () => {
    kind = null;
    sheet.hidden = true;
    frame.hidden = false;
    at("declare").hidden = !choices;
    renew();
  };

  // Ask the watch; what it answers is a sentence.
  const ask = async (path, what) => {
    if (busy) return null;
    busy = true;
    document.body.dataset.busy = "yes";
    try {
      const r = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(what) });
      if (r.headers.get("Content-Type")?.startsWith("application/json")) return await r.json();
      return { done: false, text: (await r.text()).trim() };
    } catch {
      return { done: false, text: "The watch does not answer: nothing is known to be written." };
    } finally {
      busy = false;
      document.body.dataset.busy = "no";
    }
  };

  sheet.addEventListener("submit", async (e) => {
    e.preventDefault();
    if (!choices || !kind) return;
    const chosen = [...sheet.querySelectorAll("input:checked")].map((i) => i.value);
    const d = { edition: choices.edition, id: choices.id, kind };
    if (kind === "meant") Object.assign(d, { rules: chosen, reason: text.value });
    if (kind === "shot-again" && chosen.length) Object.assign(d, { by: chosen[0], by_id: choices.later.find((q) => q.sequence === chosen[0]).title });
    if (kind === "view") d.view = text.value.trim() || chosen[0] || "";
    const answer = await ask("declare/" + dialog.dataset.sequence, d);
    if (!answer) return;
    say(answer.text);
    if (answer.done) close();
    learn();
  });
  at("leave").addEventListener("click", () => {
    close();
    say("");
  });
  // A new name is another choice than those listed.
  text.addEventListener("input", () => {
    if (kind === "view" && text.value) sheet.querySelectorAll("input:checked").forEach((i) => { i.checked = false; });
  });
  at("sheet-choices").addEventListener("change", () => { if (kind === "view") text.value = ""; });
  for (const b of at("declare").children) b.addEventListener("click", () => open(b.dataset.kind));
  at("take-back").addEventListener("click", async () => {
    const answer = await ask("take-back", { edition });
    if (answer) say(answer.text);
  });

  dialog.addEventListener("opened", () => {
    choices = null;
    frameEdition = edition;
    close();
    say("");
    if (edition !== null) {
      dialog.append(at("undo"));
      learn();
    }
  });
  dialog.addEventListener("close", () => {
    if (dialog.open) return; // again meanwhile
    document.body.append(at("undo"));
    choices = null;
  });

  document.addEventListener("state", (e) => {
    const write = e.detail.write;
    if (!write) return;
    at("undo").hidden = !write.undo;
    at("undo-text").textContent = write.undo;
    const before = edition;
    edition = write.edition;
    if (before === null || before === edition || !dialog.open) return;
    // Others wrote, or this page: what is shown here is old.
    learn();
  });
})();
