"use strict";
// The run being recorded: follow it, let the microphone in, take down what the display shows.

(() => {
  const page = document.getElementById("live");
  if (!page) return;
  const el = (id) => document.getElementById(id);
  const words = JSON.parse(el("words").dataset.words);
  const units = JSON.parse(page.dataset.units);
  const way = page.dataset.way;
  const socket = (path) => new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${path}`);
  const say = (id, value) => { if (el(id) && el(id).textContent !== value) el(id).textContent = value; };
  const trouble = (sentence) => { el("trouble").hidden = !sentence; say("trouble", sentence || ""); };
  const length = (s) => s < 120 ? words.seconds.replace("N", s.toPrecision(3).replace(/\.0+$/, ""))
    : s < 7200 ? words.minutes.replace("N", (s / 60).toFixed(1)) : words.hours.replace("N", (s / 3600).toFixed(1));

  // -- follow
  let shown = 0, paceFrom = performance.now(), shapeShown = false, heard = 0, done = false;
  const follow = () => {
    const line = socket("/live/state");
    line.onmessage = (message) => {
      trouble("");
      const now = JSON.parse(message.data);
      if (now.finished) {
        line.close();
        if (!done) { done = true; location.replace("/runs/" + encodeURIComponent(page.dataset.run)); }
        return;
      }
      draw(now);
    };
    line.onclose = () => {
      if (done) return;
      trouble(words.lost);
      setTimeout(follow, 1000);
    };
  };

  const draw = (now) => {
    page.dataset.seconds = now.seconds;
    say("word", now.sentence || now.word);
    list(now);
    offer(now);
    if (way === "pad") return;
    say("count", String(now.count));
    say("seconds", length(now.seconds) + (now.planned ? " / " + length(now.planned) : ""));
    if (el("progress")) { el("progress").hidden = !now.planned; if (now.planned) el("progress").value = Math.min(1, now.seconds / now.planned); }
    if (now.rate.per_min) {
      say("rate", now.rate.per_min);
      say("interval", now.rate.interval);
      say("per-s", now.rate.per_s);
      more(now);
    }
    const until = Math.max(now.counted, 10);
    Pictures.strip(now.strip.rows, now.recent, 0, until, words);
    Pictures.hist(now.intervals, words);
    if (el("level")) {
      Pictures.level(now.peaks, now.floor, words);
      if (now.floor !== null) { say("level-words", words.level); learned(); }
    }
    tick(now);
    shown += 1;
    if (performance.now() - paceFrom > 2000) {
      const pace = 1000 * shown / (performance.now() - paceFrom);
      say("pace", words.pace.replace("N", pace.toFixed(0)).replace("WIDTH", now.strip.width));
      page.dataset.pace = pace.toFixed(2);
      shown = 0;
      paceFrom = performance.now();
    }
  };

  const more = (now) => {
    const wanted = Number(el("wanted").value);
    const relative = now.rate.relative;
    if (!relative) return;
    // the uncertainty falls with the root of the time
    const left = now.counted * ((relative / wanted) ** 2 - 1);
    say("more", left <= 0 ? words.enough : words.more.replace("LENGTH", length(left)));
  };

  const learned = async () => {
    if (shapeShown) return;
    shapeShown = true;
    const found = await (await fetch("/live/shape")).json();
    if (!found.wave) { shapeShown = false; return; }
    el("shape-figure").hidden = false;
    Pictures.shape(found, words);
    say("shape-words", words.shape.replace("N", found.count).replace("MS", found.length_ms));
  };

  for (const form of document.querySelectorAll("form.finish")) form.addEventListener("submit", () => { done = true; });

  // -- a tick for every pulse
  let ticking = null;
  const tick = (now) => {
    const fresh = now.count - heard;
    heard = now.count;
    if (!el("audible").checked || fresh <= 0) return;
    ticking = ticking || new AudioContext();
    for (let i = 0; i < Math.min(fresh, 5); i += 1) {
      const tone = ticking.createOscillator(), loud = ticking.createGain();
      const at = ticking.currentTime + 0.1 * Math.random();
      tone.frequency.value = 1800;
      loud.gain.setValueAtTime(0.06, at);
      loud.gain.exponentialRampToValueAtTime(1e-4, at + 0.02);
      tone.connect(loud).connect(ticking.destination);
      tone.start(at);
      tone.stop(at + 0.03);
    }
  };

  // -- the microphone
  let context = null, stream = null;
  const open = () => {
    const line = socket("/live/sound");
    line.binaryType = "arraybuffer";
    let told = false;
    const node = open.node;
    line.onmessage = (m) => { const found = JSON.parse(m.data); if (found.problem) { trouble(found.problem); line.refused = true; setTimeout(() => { if (!done) open(); }, 3000); } };
    node.port.onmessage = (m) => {
      if (line.readyState !== WebSocket.OPEN) return;
      if (!told) {
        told = true;
        const first = new DataView(m.data).getFloat64(0, true);
        line.send(JSON.stringify({ sampleRate: context.sampleRate, first }));
      }
      if (line.bufferedAmount < 4e6) line.send(m.data);
    };
    line.onclose = () => { if (!done && !line.refused) setTimeout(open, 500); };
  };

  const listen = async () => {
    if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) { trouble(words.insecure); return; }
    try {
      stream = await navigator.mediaDevices.getUserMedia({
        audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
      });
    } catch (fault) {
      trouble(fault.name === "NotAllowedError" ? words.refused : words.nomic);
      return;
    }
    context = new AudioContext();
    await context.audioWorklet.addModule("/static/listener.js");
    open.node = new AudioWorkletNode(context, "listener", { numberOfOutputs: 0 });
    context.createMediaStreamSource(stream).connect(open.node);
    await context.resume();
    el("mic-offer").hidden = true;
    trouble("");
    try { await navigator.wakeLock.request("screen"); } catch { /* a comfort, not a need */ }
    open();
  };
  if (el("mic")) {
    el("mic").addEventListener("click", listen);
  }
  // permission that was given before needs no second press, unless another page listens already
  let offered = false;
  const offer = async (now) => {
    if (el("mic")) el("mic-offer").hidden = now.taken;
    if (!el("mic") || offered || context) return;
    offered = true;
    if (now.taken || !navigator.permissions) return;
    try {
      const found = await navigator.permissions.query({ name: "microphone" });
      if (found.state === "granted" && !context) listen();
    } catch { /* a browser that cannot be asked waits for the button */ }
  };

  // -- the reading pad: what is not sent yet waits on this device
  const order = Object.keys(units);
  const value = el("value"), field = el("field");
  const queueKey = "unsent:" + location.host;
  let queue = [];
  try { queue = JSON.parse(localStorage.getItem(queueKey) || "[]"); } catch { queue = []; }
  const remember = () => { try { localStorage.setItem(queueKey, JSON.stringify(queue)); } catch { /* full */ } };
  const post = (path, entries) => fetch(path, {
    method: "POST", headers: { accept: "application/json" }, body: new URLSearchParams(entries),
  });
  let sending = false;
  const send = async () => {
    if (sending) return;
    sending = true;
    try {
      while (queue.length) {
        const first = queue[0];
        const answer = await post("/live/reading", { value: first.value, field: first.field, age: ((Date.now() - first.at) / 1000).toFixed(3) });
        if (answer.status >= 500) break;
        queue.shift();
        remember();
        if (answer.ok) {
          say("stamped", words.stamped.replace("VALUE", first.value).replace("UNIT", units[first.field][1]).replace("FIELD", words[first.field]));
        } else {
          const told = await answer.json();
          say("stamped", told.problem);
          if (!value.value) value.value = first.value;
        }
      }
    } catch {
      say("stamped", words.waiting.replace("N", queue.length));
    }
    sending = false;
  };
  el("pad").addEventListener("submit", (e) => {
    e.preventDefault();
    if (!value.value.trim()) return;
    queue.push({ value: value.value.trim(), field: field.value, at: Date.now() });
    remember();
    value.value = "";
    value.focus();
    send();
  });
  setInterval(() => { if (queue.length) send(); }, 2000);
  const next = () => {
    field.value = order[(order.indexOf(field.value) + 1) % order.length];
    say("field-word", `${words[field.value]}, ${units[field.value][1]}`);
    value.focus();
  };
  el("switch").addEventListener("click", next);
  document.addEventListener("keydown", (e) => {
    if (e.key === "/" && !e.ctrlKey && !e.metaKey) { e.preventDefault(); next(); }
  });
  el("strike").addEventListener("click", async () => {
    await post("/live/strike", {});
    say("stamped", words.struck);
    value.focus();
  });
  let listed = "";
  const list = (now) => {
    const key = JSON.stringify(now.last_readings);
    if (key === listed) return;
    listed = key;
    el("last").replaceChildren(...now.last_readings.map(([t, v, u, f]) => {
      const item = document.createElement("li");
      item.textContent = `${length(t)}: ${v} ${u} (${words[f]})`;
      return item;
    }));
  };
  for (const b of document.querySelectorAll("[data-save]")) {
    b.addEventListener("click", () => Pictures.save(b.dataset.save, b.dataset.as, words));
  }
  follow();
  send();
})();
