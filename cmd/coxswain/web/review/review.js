"use strict";
// The review page. Everything shown comes from /api/records; this file draws,
// plays and sends amendments.
const $ = id => document.getElementById(id);
const el = (tag, text, attrs = {}) => {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, v);
  return e;
};
const clock = s => {
  if (s < 0) return "-" + clock(-s);
  const t = Math.round(s * 10);
  return Math.floor(t / 600) + ":" + String(Math.floor(t / 10) % 60).padStart(2, "0") + "." + (t % 10);
};
let records = [], which = 0, rec = null, peaks = [], shown = [], at = 0, part = -1, playing = false;
const audio = $("audio");
const sec = t => t / rec.rate;
const end = () => Math.max(1, sec(rec.end));

// ---- position and playing: parts of the log follow each other ----
const partSeconds = () => rec.part_length / rec.rate;
const seek = s => {
  at = Math.min(Math.max(0, s), end());
  const p = Math.floor(at / partSeconds());
  if (p !== part && p < rec.parts) {
    part = p;
    audio.src = `audio/${which}/${part}`;
    audio.playbackRate = Number($("speed").value);
  }
  const inPart = at - part * partSeconds();
  if (audio.readyState > 0) audio.currentTime = inPart;
  else audio.addEventListener("loadedmetadata", () => { audio.currentTime = inPart; }, { once: true });
  show();
};
const play = on => {
  playing = on;
  $("play").textContent = on ? "Pause" : "Play";
  if (on) audio.play().catch(() => play(false)); else audio.pause();
};
const hear = row => { seek(sec(row.from) - 3); play(true); };
audio.preservesPitch = true;
audio.addEventListener("timeupdate", () => { at = part * partSeconds() + audio.currentTime; show(); });
audio.addEventListener("ended", () => {
  if (part + 1 < rec.parts) { seek((part + 1) * partSeconds()); play(true); } else play(false);
});
$("play").onclick = () => play(!playing);
$("back").onclick = () => seek(at - 5);
$("on").onclick = () => seek(at + 5);
const setSpeed = v => { $("speed").value = v; audio.playbackRate = Number(v); };
$("speed").onchange = e => setSpeed(e.target.value);

// ---- the strip: bands on top, the two channels below ----
const view = () => {
  const span = end() / Number($("zoom").value);
  const from = Math.min(Math.max(0, at - span / 2), end() - span);
  return [from, span];
};
const draw = () => {
  const c = $("strip"), w = c.width = c.clientWidth, g = c.getContext("2d");
  const [from, span] = view(), x = s => (s - from) / span * w;
  const band = (a, b, y, h, colour) => { g.fillStyle = colour; g.fillRect(x(a), y, Math.max(1, x(b) - x(a)), h); };
  g.fillStyle = "#fff"; g.fillRect(0, 0, w, 190);
  rec.cycles.forEach((s, i) => {
    band(sec(s.from), sec(s.to), 0, 190, i % 2 ? "#f1eee6" : "#e4e0d4");
    g.fillStyle = "#1d2329"; g.font = "11px sans-serif"; g.fillText("cycle " + (i + 1), x(sec(s.from)) + 2, 10);
  });
  for (const s of rec.stretches) band(sec(s.from), sec(s.to), s.what === "compressing" ? 16 : 22, s.what === "compressing" ? 12 : 6, s.what === "compressing" ? "#4d7c5b" : "#d9862b");
  for (const [channel, mid, colour] of [[0, 75, "#39546b"], [1, 140, "#8a5a86"]]) {
    g.fillStyle = colour;
    for (let px = 0; px < w; px++) {
      let top = 0;
      const a = Math.floor((from + px / w * span) * 10), b = Math.max(a + 1, Math.floor((from + (px + 1) / w * span) * 10));
      for (let k = a; k < b; k++) top = Math.max(top, peaks[2 * k + channel] || 0);
      const h = Math.max(1, Math.sqrt(top / 127) * 30);
      g.fillRect(px, mid - h, 1, 2 * h);
    }
  }
  for (const r of rec.rows) {
    if (r.group === "called" || r.group === "amended") band(sec(r.from), sec(r.until), 40, 4, "#39546b");
    if (r.group === "said") band(sec(r.at), sec(r.at) + 1, 176, 4, "#8a5a86");
    if (r.group === "called" || r.group === "amended") { g.fillStyle = r.gone ? "#999" : "#1d2329"; g.fillRect(x(sec(r.at)), 30, 2, 10); }
  }
  g.fillStyle = "#b3541e"; g.fillRect(x(at) - 1, 0, 2, 190);
};
$("strip").onclick = e => { const [from, span] = view(); seek(from + e.offsetX / $("strip").clientWidth * span); };
$("zoom").onchange = () => draw();
window.onresize = () => draw();

// ---- tables ----
const show = () => {
  const code = rec.started < 0 ? "" : "code " + clock(at - sec(rec.started)) + ", ";
  $("clock").textContent = code + "session " + clock(at) + " of " + clock(end());
  $("strip").setAttribute("aria-valuenow", at.toFixed(1));
  $("strip").setAttribute("aria-valuetext", clock(at));
  draw();
  let here = null;
  for (const [row, tr] of shown) { tr.classList.remove("here"); if (sec(row.from) - 3.1 <= at) here = tr; }
  if (here) here.classList.add("here");
};
const wall = t => {
  const m = /T(\d\d):(\d\d):(\d\d)(?:\.(\d+))?/.exec(rec.session.wall);
  if (!m) return "";
  const s = (Number(m[1]) * 3600 + Number(m[2]) * 60 + Number(m[3]) + Number("0." + (m[4] || 0)) + sec(t)) % 86400;
  return [s / 3600, s / 60 % 60, s % 60].map(v => String(Math.floor(v)).padStart(2, "0")).join(":");
};
const fillRows = () => {
  const want = new Set([...$("filters").querySelectorAll("input[type=checkbox]:checked")].map(i => i.value));
  const find = $("find").value.toLowerCase();
  shown = [];
  $("rows").replaceChildren(...rec.rows.filter(r => want.has(r.group) && (r.text + " " + (r.heard || "")).toLowerCase().includes(find)).map(r => {
    const tr = el("tr"), what = el("td"), b = el("button", r.text, { type: "button", "aria-label": `${r.text}, at ${clock(sec(r.at))}, play from 3 seconds before` });
    b.onclick = () => hear(r);
    what.append(b);
    if (r.gone) { tr.className = "gone"; what.append(el("span", "taken back", { class: "tag" })); }
    if (r.moved) what.append(el("span", "moved", { class: "tag" }));
    if (r.unsure) what.append(el("span", "unsure", { class: "tag" }));
    if (r.note) what.append(el("span", r.note, { class: "tag" }));
    if (r.heard && r.heard !== r.text) what.append(el("div", `heard: ${r.heard}`, { class: "source" }));
    tr.append(el("td", rec.started < 0 || r.at < rec.started ? "" : clock(sec(r.at) - sec(rec.started)), { class: "n" }), el("td", wall(r.at), { class: "n" }), what,
      el("td", r.heard ? Math.round(100 * r.sure) + " %, no. " + r.seq : "no. " + r.seq, { class: "n" }));
    shown.push([r, tr]);
    return tr;
  }));
};
$("filters").oninput = () => { fillRows(); show(); };
const number = (f, v) => f.unit === "s" ? clock(v) : f.unit === "1" && !["pauses", "shocks", "sustained"].includes(f.id) ? Math.round(100 * v) + " %" : f.id === "sustained" ? (v ? "yes" : "no") : String(Math.round(10 * v) / 10);
const value = f => !f || !f.known ? "unknown" : number(f, f.value) + (f.low !== f.high ? ` (${number(f, f.low)} to ${number(f, f.high)})` : "");
const fillFigures = () => {
  const columns = [["as called", rec.as_called]];
  if (rec.amended) columns.push(["as amended", rec.as_amended]);
  if (records.length > 1) { const o = records[1 - which]; columns.push([o.name, o.as_amended || o.as_called]); }
  $("figurehead").replaceChildren(...["Figure", ...columns.map(c => c[0]), "Benchmark"].map(t => el("th", t, { scope: "col" })));
  $("figures").replaceChildren(...rec.as_called.map((f, i) => {
    const tr = el("tr"), name = el("td", f.name), b = el("td");
    name.append(el("div", `${f.definition} ${f.formula !== "-" ? f.formula + ". " : ""}${f.source}`, { class: "source" }));
    tr.append(name, ...columns.map(([, list]) => el("td", value(list[i]), { class: "n" })));
    if (f.benchmark) {
      const now = columns[rec.amended ? 1 : 0][1][i];
      b.append(el("span", f.benchmark.text, { class: now.met || "" }), el("div", `${f.benchmark.source} (${f.benchmark.status})`, { class: "source" }));
    }
    tr.append(b);
    return tr;
  }));
  $("rhythms").replaceChildren(...rec.rhythms.map(r => { const tr = el("tr"); tr.append(el("td", r.rhythm), el("td", clock(r.seconds), { class: "n" })); return tr; }));
  $("drugs").replaceChildren(...(rec.drugs || []).map(d => {
    const tr = el("tr");
    tr.append(el("td", d.drug), el("td", `${d.doses} given, ${Math.round(1000 * d.mg) / 1000} mg` + (d.unnamed ? `, ${d.unnamed} without an amount` : ""), { class: "n" }));
    return tr;
  }));
};

// ---- keys ----
const step = d => {
  const list = shown.map(s => s[0]), now = at + 3.05;
  const next = d > 0 ? list.find(r => sec(r.from) > now + 0.05) : [...list].reverse().find(r => sec(r.from) < now - 0.5);
  if (next) seek(sec(next.from) - 3);
};
document.addEventListener("keydown", e => {
  if (/^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName) || e.ctrlKey || e.metaKey || e.altKey) return;
  if (e.target.tagName === "BUTTON" && (e.key === " " || e.key === "Enter")) return;
  const act = { " ": () => play(!playing), ArrowLeft: () => seek(at - 5), ArrowRight: () => seek(at + 5), Home: () => seek(0), End: () => seek(end()),
    n: () => step(1), p: () => step(-1), 1: () => setSpeed("1"), 2: () => setSpeed("2"), 3: () => setSpeed("3"), f: () => $("find").focus() }[e.key.length === 1 ? e.key.toLowerCase() : e.key];
  if (act) { act(); e.preventDefault(); }
});

// ---- amendments ----
$("form").onsubmit = async e => {
  e.preventDefault();
  const d = new FormData(e.target), m = /^(?:(\d+):)?(\d+(?:\.\d+)?)$/.exec(d.get("at").trim());
  const change = { do: d.get("do"), seq: Number(d.get("seq")) || 0, kind: d.get("kind"), by: d.get("by"), reason: d.get("reason"), at: m ? Math.round((60 * Number(m[1] || 0) + Number(m[2])) * rec.rate) : 0 };
  if (change.do !== "retract" && !m) { $("answer").textContent = "Session time: write 3:05"; return; }
  const r = await fetch(`api/amend/${which}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(change) });
  if (!r.ok) { $("answer").textContent = await r.text(); return; }
  $("answer").textContent = "Appended.";
  records = await r.json();
  choose();
};

// ---- start ----
const choose = () => {
  rec = records[which];
  document.title = `coxswain: review ${rec.name}`;
  $("name").textContent = rec.name;
  $("about").textContent = `Began ${rec.session.wall}; ${rec.session.software}; protocol ${rec.session.protocol.slice(0, 20)}; recogniser ${rec.session.recogniser}. ${rec.unfinished || ""}`;
  $("caution").textContent = rec.caution;
  $("strip").setAttribute("aria-valuemax", end().toFixed(1));
  $("kinds").replaceChildren(...[...new Set(rec.rows.filter(r => r.group === "called").map(r => r.kind))].map(k => el("option", undefined, { value: k })));
  fillRows();
  fillFigures();
  show();
};
const load = async () => {
  part = -1;
  choose();
  seek(0);
  const b = await (await fetch(`api/peaks/${which}`)).arrayBuffer();
  peaks = new Uint8Array(b);
  draw();
};
$("swap").onchange = e => { play(false); which = e.target.checked ? 1 : 0; peaks = []; load(); };
(async () => {
  records = await (await fetch("api/records")).json();
  $("swap").parentElement.hidden = records.length < 2;
  await load();
})();
