"use strict";
// Live pictures, drawn in the page's ink. One function for each; all take plain arrays.

const Pictures = (() => {
  const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const made = new Map(); // place → {plot, options, data}

  const faded = (colour, share) => {
    const n = parseInt(colour.slice(1), 16);
    return `rgba(${n >> 16}, ${(n >> 8) & 255}, ${n & 255}, ${share})`;
  };

  const axis = (label, extra = {}) => ({
    stroke: () => ink("ink"), font: "14px 'Proof Serif', Georgia, serif", label, labelSize: 22,
    labelFont: "14px 'Proof Serif', Georgia, serif",
    grid: { stroke: () => ink("rule"), width: 1 }, ticks: { stroke: () => ink("line"), width: 1, size: 5 },
    size: label ? 44 : 34, ...extra,
  });

  const place = (id, options, data) => {
    const where = document.getElementById(id);
    if (!where || !window.uPlot) return;
    const known = made.get(id);
    const size = { width: where.clientWidth, height: where.clientHeight };
    if (known) {
      if (known.plot.width !== size.width) known.plot.setSize(size);
      known.data = data;
      known.plot.setData(data);
      return;
    }
    const plot = new uPlot({ ...size, legend: { show: false }, cursor: { show: false }, padding: [10, 8, 0, 0], ...options }, data, where);
    made.set(id, { plot, options, data });
  };

  const redraw = () => made.forEach(({ plot }) => plot.redraw(false, true));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  addEventListener("resize", () => made.forEach(({ plot }, id) => {
    const where = document.getElementById(id);
    plot.setSize({ width: where.clientWidth, height: where.clientHeight });
  }));

  let recent = [];
  const strip = (rows, clicks, from, until, words) => {
    recent = clicks;
    const pick = (i) => rows.map((r) => r[i]);
    const data = [pick(0), pick(1), pick(2), pick(3)];
    const options = {
      scales: {
        x: { time: false, range: () => [strip.from, strip.until] },
        y: { range: (u, low, high) => [0, Math.max(1e-3, (high || 1) * 1.1)] },
      },
      axes: [axis(words.time), axis(words.rate, { size: 58 })],
      series: [
        {},
        { stroke: () => ink("data"), width: 2, spanGaps: false, points: { show: rows.length < 40, size: 6, fill: () => ink("data") } },
        { stroke: "transparent", points: { show: false } },
        { stroke: "transparent", points: { show: false } },
      ],
      bands: [{ series: [3, 2], fill: () => faded(ink("data"), 0.22) }],
      hooks: {
        draw: [(u) => {
          const c = u.ctx, bottom = u.bbox.top + u.bbox.height;
          c.save();
          c.strokeStyle = ink("data-2");
          c.lineWidth = 1.2 * devicePixelRatio;
          c.beginPath();
          for (const t of recent) {
            const x = u.valToPos(t, "x", true);
            if (x < u.bbox.left) continue;
            c.moveTo(x, bottom);
            c.lineTo(x, bottom - 11 * devicePixelRatio);
          }
          c.stroke();
          c.restore();
        }],
      },
    };
    strip.from = from;
    strip.until = until;
    place("strip", options, data);
  };

  const hist = (found, words) => {
    if (!found.x.length) return;
    const step = found.x[1] - found.x[0];
    place("hist", {
      scales: { x: { time: false, range: (u, low, high) => [Math.max(0, low - step / 2), high + step / 2] }, y: { range: (u, low, high) => [0, high * 1.1] } },
      axes: [axis(words.gap), axis(words.number, { size: 52 })],
      series: [
        {},
        { fill: () => faded(ink("data"), 0.45), stroke: () => ink("data"), width: 1, points: { show: false }, paths: uPlot.paths.bars({ size: [0.9] }) },
        { stroke: () => ink("data-2"), width: 2, points: { show: false } },
      ],
    }, [found.x, found.count, found.expected]);
  };

  const decibel = (v) => 20 * Math.log10(Math.max(v, 1e-5));
  const level = (peaks, floor, words) => {
    if (!peaks.length) return;
    const x = peaks.map((_, i) => i - peaks.length + 1);
    const line = floor === null ? peaks.map(() => null) : peaks.map(() => decibel(floor));
    place("level", {
      scales: { x: { time: false }, y: { range: [-90, 0] } },
      axes: [axis("", { values: () => [], size: 8 }), axis(words.db, { size: 54 })],
      series: [
        {},
        { stroke: () => ink("data"), width: 1.5, points: { show: false } },
        { stroke: () => ink("data-2"), width: 2, dash: [6, 4], points: { show: false } },
      ],
    }, [x, peaks.map(decibel), line]);
  };

  const shape = (found, words) => place("shape", {
    scales: { x: { time: false, range: [-2, Math.max(8, 6 * found.length_ms)] }, y: { range: [-1.1, 1.1] } },
    axes: [axis(words.ms_axis), axis("", { size: 44 })],
    series: [{}, { stroke: () => ink("data"), width: 1.5, points: { show: false } }],
  }, [found.ms, found.wave]);

  const pair = (id, x, now, before, options, words) => place(id, {
    scales: { x: { time: false, ...options.x }, y: { range: (u, low, high) => [0, Math.max(options.top, (high || 1) * 1.08)] } },
    axes: [axis(words[0], options.axis || {}), axis(words[1], { size: 52 })],
    series: [
      {},
      { stroke: () => ink("line"), width: 2, dash: [6, 4], points: { show: false } },
      { stroke: () => ink("data"), width: 2.5, points: { show: Boolean(options.dots), size: 6, fill: () => ink("data") } },
    ],
  }, [x, before, now]);
  const curve = (now, before, words) => pair("curve", now.kev, now.relative, before.relative,
    { x: { distr: 3, range: [25, 1500] }, top: 1.5, dots: true, axis: { splits: () => [30, 50, 100, 300, 1000], filter: (u, ticks) => ticks } },
    [words.kev, words.relative]);
  const recover = (found, words) => pair("recover", found.us, found.back, found.alone, { x: {}, top: 1 }, [words.us, words.back]);

  const save = (id, as, words) => {
    const known = made.get(id);
    if (!known) return;
    const link = document.createElement("a");
    if (as === "png") {
      const from = known.plot.ctx.canvas, page = document.createElement("canvas");
      page.width = from.width;
      page.height = from.height;
      const c = page.getContext("2d");
      c.fillStyle = ink("paper");
      c.fillRect(0, 0, page.width, page.height);
      c.drawImage(from, 0, 0);
      link.href = page.toDataURL("image/png");
    } else {
      const [x, ...rest] = known.data;
      const lines = [[words.time, words.rate, "low", "high"].map((w) => `"${w}"`).join(",")];
      x.forEach((v, i) => lines.push([v, ...rest.map((r) => r[i] ?? "")].join(",")));
      link.href = "data:text/csv;charset=utf-8," + encodeURIComponent(lines.join("\n") + "\n");
    }
    link.download = `${id}.${as}`;
    link.click();
  };

  return { strip, hist, level, shape, curve, recover, save };
})();
