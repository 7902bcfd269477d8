"use strict";
// Comfort only: all that the page says stands there without this.
(() => {
  const make = (name, props, ...children) => {
    const e = Object.assign(document.createElement(name), props);
    e.append(...children);
    return e;
  };

  // Large: any picture fills the window; again for its own pixels; arrow keys step.
  const dialog = make("dialog");
  dialog.setAttribute("aria-label", "Picture");
  const picture = make("img", { className: "fit", alt: "" });
  const stage = make("div", { className: "stage", tabIndex: 0 }, picture);
  const words = make("span");
  const button = (text, act) => {
    const b = make("button", { type: "button", className: "plain", textContent: text });
    b.addEventListener("click", act);
    return b;
  };
  let set = [], at = 0;
  const show = (i) => {
    at = (i + set.length) % set.length;
    picture.src = set[at].src;
    picture.alt = set[at].alt;
    words.textContent = set[at].alt + (set.length > 1 ? ", " + (at + 1) + " of " + set.length : "");
  };
  const step = (by) => show(at + by);
  const size = () => picture.classList.toggle("fit");
  dialog.append(stage, make("div", { className: "bar" },
    button("Before", () => step(-1)), button("Next", () => step(1)), button("Fit or 100 %", size),
    words, button("Close", () => dialog.close())));
  stage.setAttribute("role", "group");
  stage.setAttribute("aria-label", "The picture, which scrolls at 100 %");
  dialog.addEventListener("keydown", (e) => {
    if (e.key === "ArrowRight" || e.key === "ArrowLeft") {
      if (picture.classList.contains("fit")) {
        e.preventDefault();
        step(e.key === "ArrowRight" ? 1 : -1);
      }
    }
  });
  picture.addEventListener("click", size);
  document.body.append(dialog);
  for (const img of document.querySelectorAll(".view > img")) {
    const b = make("button", { type: "button", className: "zoom" });
    b.setAttribute("aria-label", "Enlarge: " + img.alt);
    img.replaceWith(b);
    b.append(img);
    b.addEventListener("click", () => {
      const group = img.closest(".strip, .show") || img.closest("figure");
      set = [...group.querySelectorAll(".view img")];
      picture.classList.add("fit");
      show(set.indexOf(img));
      dialog.showModal();
    });
  }

  // Pairs: one place, two frames, by a button or any key that presses it.
  for (const pair of document.querySelectorAll(".pair")) {
    const figures = [...pair.querySelectorAll(":scope > figure")];
    if (figures.length !== 2) continue;
    let on = 0;
    const turn = (i) => {
      on = i;
      figures.forEach((f, k) => f.classList.toggle("on", k === on));
    };
    const b = button("Change between the two", () => turn(1 - on));
    const side = button("Side by side", () => {
      const off = pair.classList.toggle("flick");
      side.textContent = off ? "Side by side" : "One at a time";
      b.hidden = !off;
    });
    pair.before(make("p", { className: "stepper" }, b, side));
    pair.classList.add("flick");
    turn(0);
  }

  // Time-lapses: a slider through the frames of the strip.
  for (const strip of document.querySelectorAll(".slides")) {
    const frames = [...strip.querySelectorAll("img")];
    if (frames.length < 2) continue;
    const large = make("img", { alt: "" });
    const name = make("output");
    const slider = make("input", { type: "range", min: 0, max: frames.length - 1, value: 0 });
    slider.setAttribute("aria-label", "Frame");
    const move = () => {
      const f = frames[slider.value];
      large.src = f.src;
      large.alt = f.alt;
      large.width = f.width;
      name.textContent = f.alt;
      slider.setAttribute("aria-valuetext", f.alt);
    };
    large.width = frames[0].naturalWidth;
    slider.addEventListener("input", move);
    strip.before(make("div", { className: "large" }, large), make("div", { className: "stepper" }, slider, name));
    move();
  }
})();
