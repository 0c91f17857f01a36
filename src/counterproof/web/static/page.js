"use strict";
// Pages work without this script; it saves steps: keeps what is typed, shows only what is asked
// for, draws figures in the page's ink, follows long work.

const all = (selector, within = document) => [...within.querySelectorAll(selector)];

// -- what is typed survives a reload, a crash and a restart of the server
for (const form of all("form[data-draft]")) {
  const key = "draft:" + form.dataset.draft;
  const fields = () => all("input, select, textarea", form).filter(
    (f) => f.name && !["file", "hidden"].includes(f.type));
  let draft = {};
  try { draft = JSON.parse(localStorage.getItem(key) || "{}"); } catch { draft = {}; }
  const refused = document.querySelector(".problem[role=alert]");
  if (!refused) {
    for (const f of fields()) {
      const name = f.name + (["radio", "checkbox"].includes(f.type) ? "=" + f.value : "");
      if (!(name in draft)) continue;
      if (["radio", "checkbox"].includes(f.type)) f.checked = draft[name]; else f.value = draft[name];
    }
  }
  form.addEventListener("input", () => {
    const now = {};
    for (const f of fields()) {
      if (["radio", "checkbox"].includes(f.type)) now[f.name + "=" + f.value] = f.checked;
      else now[f.name] = f.value;
    }
    try { localStorage.setItem(key, JSON.stringify(now)); } catch { /* no room: nothing lost but comfort */ }
  });
  form.addEventListener("submit", () => localStorage.removeItem(key));
}

// -- questions that hang on an answer
for (const form of all("form[data-steps]")) {
  const adjust = () => {
    for (const part of all("[data-when]", form)) {
      const parent = form.elements[part.dataset.when];
      const given = parent && !parent.closest("[hidden]") ? parent.value : "";
      const wanted = part.dataset.is ? part.dataset.is.split("|") : [];
      part.hidden = !given || (wanted.length > 0 && !wanted.includes(given));
    }
  };
  form.addEventListener("input", adjust);
  adjust();
}

// -- the ways to record
for (const form of all("form.listen")) {
  const adjust = () => {
    const way = (form.querySelector("input[name=way]:checked") || {}).value;
    for (const part of all(".only", form)) part.hidden = !part.dataset.way.split(" ").includes(way);
  };
  form.addEventListener("input", adjust);
  adjust();
  const input = form.querySelector("input[type=file]");
  const place = form.querySelector(".drop");
  document.addEventListener("dragover", (e) => { e.preventDefault(); place.classList.add("over"); });
  document.addEventListener("dragleave", () => place.classList.remove("over"));
  document.addEventListener("drop", (e) => {
    e.preventDefault();
    place.classList.remove("over");
    if (!e.dataTransfer.files.length) return;
    form.querySelector("#way-file").checked = true;
    input.files = e.dataTransfer.files;
    adjust();
  });
}

// -- figures take the page's ink
const drawn = async (place) => {
  const answer = await fetch(place.dataset.figure);
  if (!answer.ok) return;
  const parsed = new DOMParser().parseFromString(await answer.text(), "image/svg+xml");
  const svg = parsed.documentElement;
  if (svg.nodeName !== "svg") return;
  all("script", svg).forEach((s) => s.remove());
  svg.setAttribute("aria-hidden", "true");
  place.replaceChildren(document.importNode(svg, true));
};
const watcher = new IntersectionObserver((entries) => {
  for (const e of entries) if (e.isIntersecting) { watcher.unobserve(e.target); drawn(e.target); }
}, { rootMargin: "400px" });
all("[data-figure]").forEach((place) => watcher.observe(place));

// -- the contents fold away on small screens
const fold = document.querySelector("details.fold");
if (fold) {
  const wide = matchMedia("(min-width: 60rem)");
  const adjust = () => { fold.open = wide.matches; };
  wide.addEventListener("change", adjust);
  adjust();
}

// -- long work
const job = document.getElementById("job");
if (job) {
  const share = document.getElementById("share");
  const left = document.getElementById("left");
  const follow = async () => {
    try {
      const now = await (await fetch(`/jobs/${job.dataset.number}/state`)).json();
      if (now.state !== "working") { location.replace(location.href); return; }
      if (now.share !== null) share.value = now.share;
      left.textContent = now.left ? left.dataset.words.replace("LENGTH", now.left) : "";
    } catch { /* the server is away for a moment */ }
    setTimeout(follow, 300);
  };
  follow();
}
