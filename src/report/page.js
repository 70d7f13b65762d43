(() => {
  "use strict";
  const view = document.getElementById("view"), pan = document.getElementById("pan");
  if (!view || !pan) return;
  document.documentElement.classList.add("js");
  const MOST = 16;
  let s = 1, x = 0, y = 0;
  const show = () => {
    const w = view.clientWidth, h = view.clientHeight;
    s = Math.min(MOST, Math.max(1, s));
    x = Math.min(0, Math.max(w - w * s, x));
    y = Math.min(0, Math.max(h - h * s, y));
    pan.style.transform = `translate(${x}px,${y}px) scale(${s})`;
    view.classList.toggle("zoomed", s > 1);
  };
  const zoom = (factor, px, py) => {
    const before = s;
    s = Math.min(MOST, Math.max(1, s * factor));
    x = px - (px - x) * s / before;
    y = py - (py - y) * s / before;
    show();
  };
  const middle = factor => zoom(factor, view.clientWidth / 2, view.clientHeight / 2);
  const place = e => {
    const b = view.getBoundingClientRect();
    return [e.clientX - b.left, e.clientY - b.top];
  };
  view.addEventListener("wheel", e => {
    // Fully out already: let the page scroll on.
    if (e.deltaY > 0 && s <= 1) return;
    e.preventDefault();
    const step = e.deltaMode === 1 ? 30 : 1;
    zoom(Math.exp(-e.deltaY * step * 0.002), ...place(e));
  }, { passive: false });
  const fingers = new Map();
  view.addEventListener("pointerdown", e => {
    fingers.set(e.pointerId, place(e));
    if (s > 1 || fingers.size > 1) view.setPointerCapture(e.pointerId);
  });
  view.addEventListener("pointermove", e => {
    const old = fingers.get(e.pointerId);
    if (!old) return;
    const now = place(e);
    if (fingers.size === 1) {
      x += now[0] - old[0];
      y += now[1] - old[1];
      show();
    } else if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)[1];
      const gap = p => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
      x += (now[0] - old[0]) / 2;
      y += (now[1] - old[1]) / 2;
      zoom(gap(now) / gap(old), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
    }
    fingers.set(e.pointerId, now);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"])
    view.addEventListener(end, e => fingers.delete(e.pointerId));
  view.addEventListener("dblclick", e => zoom(2.5, ...place(e)));
  const whole = () => { s = 1; x = 0; y = 0; show(); };
  const move = (dx, dy) => { x += dx; y += dy; show(); };
  const keys = {
    "+": () => middle(1.5), "=": () => middle(1.5), "-": () => middle(1 / 1.5), "0": whole,
    ArrowLeft: () => move(60, 0), ArrowRight: () => move(-60, 0),
    ArrowUp: () => move(0, 60), ArrowDown: () => move(0, -60),
  };
  view.addEventListener("keydown", e => {
    if (e.ctrlKey || e.metaKey || e.altKey || !keys[e.key]) return;
    if (e.key.startsWith("Arrow") && s <= 1) return;
    e.preventDefault();
    keys[e.key]();
  });
  const on = (id, act) => document.getElementById(id).addEventListener("click", act);
  on("closer", () => middle(1.6));
  on("farther", () => middle(1 / 1.6));
  on("whole", whole);
  for (const a of document.querySelectorAll("a[data-at]"))
    a.addEventListener("click", () => {
      const [u, v] = a.dataset.at.split(",").map(Number);
      s = 5;
      x = view.clientWidth * (0.5 - u * s);
      y = view.clientHeight * (0.5 - v * s);
      show();
    });
  addEventListener("resize", show);
})();
(() => {
  "use strict";
  const text = document.getElementById("answers-text"), save = document.getElementById("answers-save");
  if (!text || !save) return;
  // Only the answer of this place is changed; what the reader typed himself stays.
  const put = (place, answer) => {
    const parts = text.value.split("[[place]]");
    text.value = parts.map((part, i) => i > 0 && part.includes(`name = "${place}"`)
      ? part.replace(/^answer = .*$/m, `answer = "${answer}"`) : part).join("[[place]]");
  };
  for (const box of document.querySelectorAll("input[data-place]"))
    box.addEventListener("change", () => put(box.dataset.place, box.value));
  save.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text.value], { type: "application/toml" }));
    link.download = "answers.toml";
    link.click();
  });
})();
