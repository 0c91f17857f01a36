"use strict";
// Draw a rectangle on the still: its corners go into the field, in pixels of the video.
(() => {
  const place = document.getElementById("mark");
  if (!place) return;
  const picture = place.querySelector("img"), frame = document.getElementById("frame");
  const field = document.getElementById("f-region");
  let from = null;
  const at = (e) => {
    const box = picture.getBoundingClientRect();
    const inside = (v, most) => Math.min(Math.max(v, 0), most);
    return [inside(e.clientX - box.left, box.width), inside(e.clientY - box.top, box.height), box];
  };
  const draw = (x, y, w, h) => {
    frame.hidden = false;
    Object.assign(frame.style, { left: x + "px", top: y + "px", width: w + "px", height: h + "px" });
  };
  place.addEventListener("pointerdown", (e) => { from = at(e); place.setPointerCapture(e.pointerId); e.preventDefault(); });
  place.addEventListener("pointermove", (e) => {
    if (!from) return;
    const [x, y, box] = at(e);
    const left = Math.min(x, from[0]), top = Math.min(y, from[1]);
    const wide = Math.abs(x - from[0]), high = Math.abs(y - from[1]);
    draw(left, top, wide, high);
    const scale = picture.naturalWidth / box.width;
    field.value = [left, top, wide, high].map((v) => Math.round(v * scale)).join(",");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  place.addEventListener("pointerup", () => { from = null; });
  const shown = () => {
    const parts = field.value.split(",").map(Number);
    if (parts.length !== 4 || parts.some(Number.isNaN) || !picture.naturalWidth) return;
    const scale = picture.getBoundingClientRect().width / picture.naturalWidth;
    draw(...parts.map((v) => v * scale));
  };
  field.addEventListener("change", shown);
  picture.addEventListener("load", shown);
  shown();
})();
