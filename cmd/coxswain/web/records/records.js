"use strict";
// The page of all records: what is asked for goes to coxswain, which answers
// with lines, charts, or how teams did. What is asked stays in the address, so
// that one comes back to it from a record.
const form = $("wanted");
let view = "lines", skip = 0, ticked = [], asked = 0, stand = "", unread = 0;

const wanted = () => {
  const q = new URLSearchParams();
  for (const [k, v] of new FormData(form)) if (v) q.set(k, v);
  return q;
};
const percent = x => Math.round(100 * x) + " %";
const figure = (s, id, write) => s.figures && s.figures[id] !== undefined ? write(s.figures[id]) : "-";
const began = s => s.wall.startsWith("0001-") ? `date unknown, ${s.name}` : s.wall.replace("T", " ").slice(0, 16);
const link = (name, text) => el("a", text, { href: `record/${encodeURIComponent(name)}/` });

const lineOf = s => {
  const tr = el("tr"), box = el("input", undefined, { type: "checkbox", value: s.name, "aria-label": `Compare ${s.name}` });
  box.checked = ticked.includes(s.name);
  box.onchange = () => tick(s.name, box.checked);
  const first = el("td"), when = el("td", undefined, { class: "n" }), look = el("td", undefined, { class: "words" });
  first.append(box);
  when.append(link(s.name, began(s)));
  if (s.drill) when.append(el("span", "drill", { class: "tag" }));
  look.textContent = [s.unsure && `${s.unsure} unsure`, s.faults && `${s.faults} ${s.faults > 1 ? "faults" : "fault"}`, s.amended && "amended", s.twin_of && `twin of ${s.twin_of}: does not count`].filter(Boolean).join(", ");
  const outcome = el("td", s.outcome, { class: "words" });
  if (s.drill) {
    const points = s.score ? `${s.score.title}: ${s.score.points} of ${s.score.of} points` : s.drill.case;
    outcome.append(el("div", points + (s.drill.team ? ", " + s.drill.team : ""), { class: "source" }));
  }
  tr.append(first, when, el("td", clock(s.seconds), { class: "n" }), el("td", s.rhythm || "-"), el("td", figure(s, "shocks", String), { class: "n" }),
    el("td", figure(s, "compression_fraction", percent), { class: "n" }), el("td", figure(s, "longest_pause", x => x < 60 ? Math.round(x) + " s" : clock(x)), { class: "n" }),
    outcome, look);
  return tr;
};
const tick = (name, on) => {
  ticked = ticked.filter(n => n !== name);
  if (on) ticked = [...ticked, name].slice(-2);
  document.querySelectorAll("#rows input").forEach(i => { i.checked = ticked.includes(i.value); });
  $("compare").disabled = ticked.length !== 2;
};
$("compare").onclick = () => { location.href = `pair/${ticked.map(encodeURIComponent).join("/")}/`; };
const choose = (name, list) => {
  const s = form.elements[name], was = s.value;
  s.replaceChildren(s.options[0], ...list.map(v => el("option", v, { value: v })));
  s.value = list.includes(was) ? was : "";
};
const fillLines = d => {
  choose("rhythm", d.rhythms || []);
  choose("outcome", d.outcomes || []);
  $("count").textContent = (d.matching === d.all ? `${d.all} ${d.all === 1 ? "record" : "records"}` : `${d.matching} of ${d.all} records`) + (d.unread ? `, ${d.unread} are still being read` : "");
  unread = d.unread;
  const last = d.skipped + d.lines.length;
  $("where").textContent = d.lines.length ? `${d.skipped + 1} to ${last} of ${d.matching}` : "";
  $("newer").hidden = d.skipped === 0;
  $("older").hidden = last >= d.matching;
  $("leftout").textContent = d.left_out && d.left_out.length ? `Left out, because they cannot be read: ${d.left_out.join("; ")}` : "";
  const lines = JSON.stringify(d.lines);
  if (lines === stand) return; // while others are read the focus stays where it is
  stand = lines;
  $("rows").replaceChildren(...d.lines.map(lineOf));
  if (!d.lines.length) { const tr = el("tr"); tr.append(el("td", d.all ? "No record is like that." : "There are no records yet.", { colspan: "9" })); $("rows").append(tr); }
};
const drawing = svg => { const d = el("div", undefined, { class: "drawn" }); d.append(picture(svg)); return d; };
// runs puts months that follow each other for one reason into one line.
const after = month => new Date(Date.UTC(month.slice(0, 4), month.slice(5))).toISOString().slice(0, 7);
const runs = months => months.reduce((out, m) => {
  const last = out[out.length - 1], more = m.records_furthest || [];
  if (last && last.signal === m.signal && after(last.to) === m.month && !more.length) last.to = m.month;
  else out.push({ from: m.month, to: m.month, signal: m.signal, records: more });
  return out;
}, []);
const fillCharts = list => $("drawn").replaceChildren(...list.map(c => {
  const s = el("section");
  s.append(el("h2", c.name), el("p", `${c.definition} ${c.source}`, { class: "note" }), drawing(c.svg));
  for (const run of runs(c.months || [])) {
    const p = el("p", `${run.from === run.to ? run.from : `${run.from} to ${run.to}`}: ${run.signal}. `);
    for (const n of run.records) p.append(link(n, n), " ");
    s.append(p);
  }
  return s;
}), ...list.length ? [] : [el("p", "No code here has figures to draw.")]);
const fillDrills = list => $("teams").replaceChildren(...list.map(t => {
  const s = el("section"), drills = el("ul"), lost = el("ul");
  for (const d of [...t.drills].reverse()) {
    const li = el("li");
    li.append(link(d.name, began(d)), ` ${d.score.title}: ${d.score.points} of ${d.score.of} points${d.score.silent ? ", without advice" : ""}`);
    drills.append(li);
  }
  for (const l of t.lost || []) lost.append(el("li", `${l.reason}: missed ${l.times} of ${l.of} times. ${l.better}`));
  s.append(el("h2", t.team || "No team named"), drawing(t.svg), el("h3", "Drills, newest first"), drills);
  if (t.lost && t.lost.length) s.append(el("h3", "What cost points, most often first"), lost);
  return s;
}), ...list.length ? [] : [el("p", "No drills here. Name the team with each: coxswain drill CASE --team NAME, or on the page of coxswain drill --serve.")]);

// broad is how wide a chart is drawn, so that its letters can be read on a telephone too.
const broad = () => Math.round(Math.min(760, document.querySelector("main").clientWidth / 1.2));
const views = { lines: ["list", fillLines], charts: ["charts", fillCharts], drills: ["progress", fillDrills] };
const ask = async () => {
  const q = wanted(), mine = ++asked;
  history.replaceState(null, "", `#${new URLSearchParams([...q, ["view", view], ["skip", skip]])}`);
  sessionStorage.setItem("wanted", location.hash); // for the way back
  for (const v of Object.keys(views)) $(v).hidden = v !== view;
  document.querySelectorAll("nav button").forEach(b => b.setAttribute("aria-pressed", String(b.dataset.view === view)));
  const get = async v => {
    const r = await fetch(`api/${views[v][0]}?${q}&skip=${skip}&width=${broad()}`);
    if (mine !== asked) return; // something else was asked since
    if (r.ok) views[v][1](await r.json()); else $("count").textContent = await r.text();
  };
  for (await get("lines"); unread && mine === asked; await get("lines")) await new Promise(r => setTimeout(r, 10));
  if (view !== "lines" && mine === asked) await get(view);
  document.body.dataset.shown = view; // for whoever waits
  if (view !== "lines" && broad() < SHEET) await sheets(view, () => mine === asked);
};
// sheets draws pictures of a narrow window once more, as wide as a sheet, to be printed.
const SHEET = 560;
const sheets = async (v, still) => {
  const r = await fetch(`api/${views[v][0]}?${wanted()}&width=${SHEET}`);
  const list = r.ok ? await r.json() : [];
  if (still()) document.querySelectorAll(`#${v} section .drawn`).forEach((d, k) => {
    const wide = drawing(list[k].svg);
    wide.classList.add("paper");
    d.after(wide);
  });
};
form.oninput = () => { skip = 0; ask(); };
let drawn = broad(), resized = 0;
addEventListener("resize", () => { // a picture fills its place at once, and is drawn anew when the window stays
  clearTimeout(resized);
  resized = setTimeout(() => { if (view !== "lines" && broad() !== drawn) { drawn = broad(); ask(); } }, 150);
});
form.onsubmit = e => e.preventDefault();
form.onreset = () => setTimeout(form.oninput);
document.querySelectorAll("nav button").forEach(b => { b.onclick = () => { view = b.dataset.view; ask(); }; });
$("newer").onclick = () => { skip = Math.max(0, skip - 100); ask(); };
$("older").onclick = () => { skip += 100; ask(); };
document.addEventListener("keydown", e => {
  if (e.ctrlKey || e.metaKey || e.altKey) return;
  const links = [...document.querySelectorAll("#rows a")], here = links.indexOf(document.activeElement);
  const typing = /^(INPUT|SELECT)$/.test(e.target.tagName) && e.target.type !== "checkbox";
  if (e.key === "ArrowDown" && !/SELECT/.test(e.target.tagName) && e.target.type !== "date") (links[here + 1] || links[0])?.focus();
  else if (e.key === "ArrowUp" && here > 0) links[here - 1].focus();
  else if (e.key.toLowerCase() === "f" && !typing) form.elements.search.focus();
  else return;
  e.preventDefault();
});
const was = new URLSearchParams(location.hash.slice(1));
(async () => {
  const d = await (await fetch("api/list")).json(); // what there is to choose from
  choose("rhythm", d.rhythms || []);
  choose("outcome", d.outcomes || []);
  for (const [k, v] of was) {
    const f = form.elements[k];
    if (f) { if (f.type === "checkbox") f.checked = true; else f.value = v; }
  }
  view = views[was.get("view")] ? was.get("view") : "lines";
  skip = Number(was.get("skip")) || 0;
  $("caution").textContent = d.caution;
  $("practise").hidden = !d.practice;
  ask();
})();
