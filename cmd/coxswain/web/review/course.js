"use strict";
// The course: a picture of a part of the record, drawn by coxswain as SVG and
// asked for anew when it is zoomed or moved. Times here are seconds from where
// the records are aligned; origin(i) is that moment in record i.
const course = (() => {
  const LEAST = 5; // seconds: the nearest look
  const LARGE = 1.2; // pixels for a unit of a new picture, whose letters are 10 units high
  let strips = [], from = 0, to = 60, bounds = [0, 60], origin = () => 0, onSeek = () => {};

  const clamp = () => {
    const span = Math.min(Math.max(to - from, LEAST), bounds[1] - bounds[0]);
    const mid = (from + to) / 2;
    from = Math.min(Math.max(mid - span / 2, bounds[0]), bounds[1] - span);
    to = from + span;
  };
  const map = s => { // the picture's own word of where its axis lies; it is as wide as its place, drawn anew or not yet
    if (!s.svg) return [90, 100, 0, 1];
    const d = s.svg.dataset, scale = s.box.clientWidth / s.svg.viewBox.baseVal.width;
    return [scale * d.left, scale * d.right, Number(d.from), Number(d.to)];
  };
  const timeAt = (s, px) => { const [l, r, a, b] = map(s); return a + (px - l) / (r - l) * (b - a); };

  // draw asks for one strip; while an answer is under way, only the last wish waits.
  const draw = async s => {
    if (s.busy) { s.again = true; return; }
    s.busy = true;
    const o = origin(s.index), width = Math.max(300, s.box.clientWidth / LARGE);
    try {
      const r = await fetch(`api/course/${s.index}?from=${(from + o).toFixed(2)}&to=${(to + o).toFixed(2)}&width=${width}`);
      if (r.ok) {
        const svg = picture(await r.text());
        svg.setAttribute("width", LARGE * width);
        if (s.svg) s.svg.replaceWith(svg); else s.box.append(svg);
        s.svg = svg;
        place(s);
      }
    } finally {
      s.busy = false;
      if (s.again) { s.again = false; draw(s); }
    }
  };
  // paper draws each record once more, to be printed: in rows one under the other, as wide
  // as a sheet, so that its letters can be read there.
  const paper = async () => {
    const rows = strips.length > 1 ? 1 : Math.min(2, Math.max(1, Math.ceil((bounds[1] - bounds[0]) / 120)));
    const span = (bounds[1] - bounds[0]) / rows;
    for (const s of strips) {
      const drawn = [], o = origin(s.index);
      for (let k = 0; k < rows; k++) {
        const r = await fetch(`api/course/${s.index}?from=${(bounds[0] + k * span + o).toFixed(2)}&to=${(bounds[0] + (k + 1) * span + o).toFixed(2)}&width=600`);
        if (r.ok) drawn.push(picture(await r.text()));
      }
      s.sheet.replaceChildren(...strips.length > 1 ? [el("b", s.name)] : [], ...drawn);
    }
  };
  const place = s => {
    const [l, r, a, b] = map(s), x = l + (s.at - a) / (b - a) * (r - l);
    s.cursor.hidden = x < l || x > r;
    s.cursor.style.left = `${x}px`;
  };
  const all = () => { clamp(); strips.forEach(draw); };
  const zoom = (factor, about = (from + to) / 2) => { from = about + (from - about) * factor; to = about + (to - about) * factor; all(); };
  const pan = d => { from += d; to += d; all(); };

  const listen = s => {
    let down = null;
    s.box.addEventListener("focus", () => { if (strips.length > 1) onSeek(s.index, s.at); }); // keys are for this one now
    s.box.addEventListener("wheel", e => {
      e.preventDefault();
      zoom(e.deltaY > 0 ? 1.25 : 0.8, timeAt(s, e.offsetX) - origin(s.index));
    }, { passive: false });
    s.box.addEventListener("pointerdown", e => { down = { x: e.clientX, from, to, moved: false }; s.box.setPointerCapture(e.pointerId); });
    s.box.addEventListener("pointermove", e => {
      if (!down || Math.abs(e.clientX - down.x) < 4 && !down.moved) return;
      const [l, r] = map(s), d = (down.x - e.clientX) / (r - l) * (down.to - down.from);
      down.moved = true;
      from = down.from + d; to = down.to + d;
      all();
    });
    s.box.addEventListener("pointerup", e => {
      if (down && !down.moved) onSeek(s.index, timeAt(s, e.clientX - s.box.getBoundingClientRect().left));
      down = null;
    });
  };

  return {
    // open makes a strip for each record: names, the shared bounds, where each is aligned.
    open(parent, names, limits, where, seek) {
      bounds = limits; [from, to] = limits; origin = where; onSeek = seek;
      strips = names.map((name, index) => {
        const box = document.createElement("div"), cursor = document.createElement("div");
        box.className = "strip drawn"; box.tabIndex = 0; box.setAttribute("role", "slider");
        box.setAttribute("aria-label", `Position in ${name}`); box.setAttribute("aria-valuenow", "0");
        cursor.className = "cursor";
        box.append(cursor);
        if (names.length > 1) { const b = document.createElement("b"); b.textContent = name; box.append(b); }
        const sheet = document.createElement("div");
        sheet.className = "paper drawn";
        return { box, cursor, sheet, name, index, at: 0, svg: null };
      });
      parent.replaceChildren(...strips.flatMap(s => [s.box, s.sheet]));
      strips.forEach(listen);
      all();
      setTimeout(paper, 500); // what is seen comes first
    },
    // at moves the cursor of a record; a view that it leaves follows it.
    at(index, seconds, end, follow) {
      const s = strips[index];
      if (!s) return;
      s.at = seconds;
      s.box.setAttribute("aria-valuemin", "0"); s.box.setAttribute("aria-valuemax", end.toFixed(1)); s.box.setAttribute("aria-valuenow", seconds.toFixed(1));
      const t = seconds - origin(index);
      if (follow && (t > to || t < from)) { const span = to - from; from = t - span * 0.1; to = from + span; all(); }
      place(s);
    },
    redraw() { strips.forEach(place); all(); },
    paper,
    zoom, pan,
    whole() { [from, to] = bounds; all(); },
    span: () => to - from,
  };
})();
