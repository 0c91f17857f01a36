"use strict";
// Knobs of a design: the curves follow while a knob is turned.
(() => {
  const page = document.getElementById("slide");
  if (!page) return;
  const el = (id) => document.getElementById(id);
  const form = el("knob-form"), words = JSON.parse(page.dataset.words);
  let asking = false, again = false;

  const show = (found) => {
    el("trouble").hidden = !found.problem;
    el("trouble").textContent = found.problem || "";
    if (found.problem) return;
    Pictures.curve(found.now, found.before, words);
    Pictures.recover(found.recovery, words);
    const cpm = (v) => `${v.toPrecision(3)} cpm/(µSv/h)`;
    el("counts").textContent = cpm(found.now.cpm_per_usv_h);
    el("counts-before").textContent = el("counts-before").dataset.words.replace("VALUE", cpm(found.before.cpm_per_usv_h));
    el("recovery").textContent = `${found.recovery.recovery_us.toPrecision(3)} µs`;
    el("charge").textContent = el("charge").dataset.words.replace("FACTOR", found.recovery.most_charge.toPrecision(2));
  };

  const ask = async () => {
    if (asking) { again = true; return; }
    asking = true;
    const began = performance.now();
    try {
      const answer = await fetch("/retrofit/slide?" + new URLSearchParams(new FormData(form)));
      show(await answer.json());
      page.dataset.took = (performance.now() - began).toFixed(0);
    } catch { /* the server is away for a moment: the next turn asks again */ }
    asking = false;
    if (again) { again = false; ask(); }
  };

  form.addEventListener("input", (e) => {
    const told = el("o-" + e.target.name);
    if (told) told.textContent = `${e.target.value} ${e.target.dataset.unit}`;
    ask();
  });
  form.addEventListener("submit", (e) => e.preventDefault());
  for (const b of document.querySelectorAll("[data-save]")) {
    b.addEventListener("click", () => Pictures.save(b.dataset.save, b.dataset.as, { time: "x", rate: "y" }));
  }
  ask();
})();
