"use strict";
// The review page. Everything shown comes from /api/records; this file lists,
// plays and sends amendments; course.js draws the course.
let records = [], kinds = [], which = 0, rec = null, shown = [], at = 0, part = -1, playing = false;
const audio = $("audio");
const sec = t => t / rec.rate;
const end = () => Math.max(1, sec(rec.end));
const zero = r => r.started < 0 ? 0 : r.started / r.rate;

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
  show(true);
};
const mute = () => !rec.parts || audio.error !== null || rec.parts === 1 && audio.readyState > 0 && !(audio.duration > 0.1);
const play = on => {
  playing = on = on && !mute();
  $("play").disabled = mute();
  $("play").textContent = mute() ? "No sound" : on ? "Pause" : "Play";
  if (on) audio.play().catch(() => play(false)); else audio.pause();
};
const hear = t => { seek(sec(t) - 3); play(true); };
audio.preservesPitch = true;
audio.addEventListener("timeupdate", () => { at = part * partSeconds() + audio.currentTime; show(playing); });
audio.addEventListener("ended", () => {
  if (part + 1 < rec.parts) { seek((part + 1) * partSeconds()); play(true); } else play(false);
});
for (const told of ["loadedmetadata", "error"]) audio.addEventListener(told, () => play(playing));
$("play").onclick = () => play(!playing);
$("back").onclick = () => seek(at - 5);
$("on").onclick = () => seek(at + 5);
const setSpeed = v => { $("speed").value = v; audio.playbackRate = Number(v); };
$("speed").onchange = e => setSpeed(e.target.value);
$("nearer").onclick = () => course.zoom(0.5, at - origin(which));
$("wider").onclick = () => course.zoom(2);
$("whole").onclick = () => course.whole();

// ---- where it stands ----
const wall = t => {
  const m = /T(\d\d):(\d\d):(\d\d)(?:\.(\d+))?/.exec(rec.session.wall);
  if (!m) return "";
  const s = (Number(m[1]) * 3600 + Number(m[2]) * 60 + Number(m[3]) + Number("0." + (m[4] || 0)) + t) % 86400;
  return [s / 3600, s / 60 % 60, s % 60].map(v => String(Math.floor(v)).padStart(2, "0")).join(":");
};
const show = follow => {
  $("clock").textContent = `${rec.started < 0 ? "Record" : "Code"} ${clock(at - zero(rec))}, clock ${wall(at)}`;
  course.at(which, at, end(), follow);
  let here = null;
  for (const [row, tr] of shown) { tr.classList.remove("here"); if (sec(row.from) - 3.1 <= at) here = tr; }
  if (here) { here.classList.add("here"); if (playing) here.scrollIntoView({ block: "nearest" }); }
};

// ---- story, events, figures ----
// whole keeps a number and its unit on one line.
const whole = text => text.replace(/(\d) (s|min|mg|J|times)\b/g, "$1\u00a0$2");
// told is a sentence of record i, its parts links to their moments.
const told = (i, sentence) => sentence.map(p => {
  if (p.at < 0) return document.createTextNode(whole(p.text));
  const b = el("a", whole(p.text.replace(/^, /, "")), { href: "#events", title: "Listen from 3 seconds before" });
  b.onclick = e => { e.preventDefault(); turn(i); hear(p.at); };
  const both = el("span", p.text.startsWith(", ") ? ", " : "");
  both.append(b);
  return both;
});
const fillStory = () => $("story").replaceChildren(...records.flatMap((r, i) => r.story.map((sentence, k) => {
  const li = el("li");
  if (records.length > 1 && k === 0) li.append(el("b", r.name));
  li.append(...told(i, sentence));
  return li;
})));
// fillDebriefing shows what a drill earned, each finding a link into its moment.
const fillDebriefing = () => {
  const d = rec.debriefing;
  $("debriefing").hidden = !d;
  if (!d) return;
  $("score").textContent = `Debriefing: ${d.points} of ${d.of} points. ${d.title}, by “${d.protocol_title}”${d.team ? ", " + d.team : ""}${d.silent ? ", without advice" : ""}`;
  $("findings").replaceChildren(...d.findings.map(f => {
    const tr = el("tr", undefined, { class: f.points < f.of ? "lost" : "" }), found = el("td"), why = el("td", f.reason);
    if (f.listen >= 0) {
      const b = el("button", f.found, { type: "button", class: "go", title: "Listen from 3 seconds before" });
      b.onclick = () => hear(f.listen);
      found.append(b);
    } else found.textContent = f.found;
    why.append(el("div", f.source, { class: "source" }));
    tr.append(el("td", f.of ? `${f.points} of ${f.of}` : "-", { class: "n points" }), why, found, el("td", f.points < f.of ? f.better : ""));
    return tr;
  }));
};
const sureness = r => !r.heard ? "" : r.unsure ? "unsure" : r.sure < 0.9 ? "fairly sure" : "sure";
const rowOf = r => {
  const tr = el("tr"), what = el("td"), b = el("button", r.text, { type: "button", class: "go", title: "Listen from 3 seconds before" });
  b.onclick = () => hear(r.from);
  what.append(b);
  for (const [yes, tag] of [[r.gone, "taken back"], [r.moved, "moved"], [r.note, r.note]]) if (yes) what.append(el("span", tag, { class: "tag" }));
  if (r.gone) tr.className = "gone";
  if (r.heard && r.heard !== r.text) what.append(el("div", `“${r.heard}”`, { class: "source" }));
  const change = el("td");
  if ((r.group === "called" || r.group === "amended") && !r.gone && r.kind !== "retraction") {
    const e = el("button", "Change", { type: "button", class: "edit", "aria-label": `Change ${r.text}` });
    e.onclick = () => openForm(tr, r);
    change.append(e);
  }
  tr.append(el("td", clock(sec(r.at) - zero(rec)), { class: "n" }), el("td", wall(sec(r.at)), { class: "n" }), what,
    el("td", sureness(r), { class: r.unsure ? "unsure" : "" }), change);
  return tr;
};
const fillRows = () => {
  const want = new Set([...$("filters").querySelectorAll("input:checked")].map(i => i.value));
  const find = $("find").value.toLowerCase();
  shown = rec.rows.filter(r => want.has(r.group) && (r.text + " " + (r.heard || "")).toLowerCase().includes(find)).map(r => [r, rowOf(r)]);
  $("rows").replaceChildren(...shown.map(s => s[1]));
  if (!shown.length) { const td = el("td", $("find").value ? "Nothing found." : "Nothing of this kind was recorded.", { colspan: "5" }), tr = el("tr"); tr.append(td); $("rows").append(tr); }
};
$("filters").oninput = $("find").oninput = () => { fillRows(); show(); };
const counts = ["pauses", "shocks", "sustained"];
const number = (f, v) => f.unit === "s" ? (v < 60 ? `${Math.round(10 * v) / 10} s` : clock(v)) : f.id === "sustained" ? (v ? "yes" : "no")
  : f.unit === "1" && !counts.includes(f.id) ? Math.round(100 * v) + " %" : String(Math.round(10 * v) / 10);
const range = f => f && f.known && number(f, f.low) !== number(f, f.high) ? ` (${number(f, f.low)} to ${number(f, f.high)})` : "";
const fillFigures = () => {
  const two = records.length > 1, o = records[1 - which], of = (r, what) => two ? r.name + (what === "Value" ? "" : ", " + what.toLowerCase()) : what;
  const columns = [[of(rec, rec.amended ? "As amended" : "Value"), rec.as_amended || rec.as_called]];
  if (rec.amended) columns.push([of(rec, "As called"), rec.as_called]);
  if (two) columns.push([of(o, o.amended ? "As amended" : "Value"), o.as_amended || o.as_called]);
  $("figures").parentElement.classList.toggle("many", columns.length > 1);
  $("figurehead").replaceChildren(...["Figure", ...columns.map(c => c[0]), "Held against"].map(t => el("th", t, { scope: "col" })));
  $("figures").replaceChildren(...rec.as_called.map((f, i) => {
    const tr = el("tr"), name = el("td"), more = el("details"), now = columns[0][1][i];
    more.append(el("summary", whole(f.name)), el("p", `${f.definition} ${f.formula !== "-" ? f.formula + "." : ""}`), el("p", f.source));
    name.append(more);
    if (f.benchmark) name.append(el("div", `Held against: ${f.benchmark.text}`, { class: "source beneath" })); // where a column has no room
    tr.append(name, ...columns.map(([, list], k) => {
      const td = el("td"), x = list[i];
      td.append(el("span", x && x.known ? number(x, x.value) : x && x.why ? `unknown: ${x.why}` : "unknown", { class: x && x.known && (k === 0 || two && k === columns.length - 1) ? "big" : "" }), el("span", range(x), { class: "source" }));
      if (two && (!k || k === columns.length - 1) && x && x.verdict) td.append(el("div", x.verdict, { class: "verdict " + (x.met || "") }));
      return td;
    }));
    const held = el("td");
    if (f.benchmark) {
      if (!two && now && now.verdict) held.append(el("span", now.verdict, { class: "verdict " + (now.met || "") }), ": ");
      held.append(f.benchmark.text);
      more.append(el("p", `Held against: ${f.benchmark.source} (${f.benchmark.status})`));
    }
    tr.append(held);
    return tr;
  }));
  const list = (id, rows) => ($(id).closest("div").hidden = !rows.length) || $(id).replaceChildren(...rows.map(([a, b]) => { const tr = el("tr"); tr.append(el("td", a), el("td", b, { class: "n" })); return tr; }));
  list("rhythms", rec.rhythms.map(r => [r.rhythm, clock(r.seconds)]));
  list("drugs", (rec.drugs || []).map(d => [d.drug.replaceAll("_", " "), `${d.doses} given, ` + (d.unnamed === d.doses ? "amount in mg not called"
    : `${Math.round(1000 * d.mg) / 1000} mg` + (d.unnamed ? ` and ${d.unnamed} without an amount in mg` : ""))]));
};

// ---- amendments, in place ----
// slot names a number of an event with its unit: "Dose in mg".
const units = { mg: "mg", g: "g", meq: "mEq", j: "J", kg: "kg", y: "years", months: "months", mmhg: "mmHg", mmol: "mmol/l", mgdl: "mg/dl or mmol/l", pct: "%", c: "°C" };
const slot = k => {
  const [, name, unit] = /^(.*?)(?:_([a-z]+))?$/.exec(k), words = { ph: "pH", endtidal: "End tidal" }[name] || name[0].toUpperCase() + name.slice(1);
  return units[unit] ? `${words} in ${units[unit]}` : words.replaceAll("_", " ");
};
const openForm = (after, r) => {
  document.querySelectorAll("tr.form").forEach(x => x.remove());
  const tr = el("tr", undefined, { class: "form" }), td = el("td", undefined, { colspan: "5" });
  td.append($("change").content.cloneNode(true));
  tr.append(td);
  const f = td.querySelector("form"), answer = f.querySelector("output");
  f.querySelector(".what").textContent = r ? `Change “${r.text}”` : "Add what was not heard";
  f.at.value = clock((r ? sec(r.at) : at) - zero(rec));
  f.kind.append(...kinds.map(k => el("option", k.words, { value: k.kind })));
  f.querySelector(".kind").hidden = !!r;
  f.querySelector(".withdraw").hidden = !r;
  for (const [k, v] of Object.entries(r && r.values || {})) {
    const label = el("label", slot(k) + " ");
    label.append(el("input", undefined, { name: "value." + k, value: v, size: 6, inputmode: "decimal" }));
    f.querySelector(".values").append(label);
  }
  f.querySelector(".leave").onclick = () => { tr.remove(); after && after.querySelector("button").focus(); };
  f.onsubmit = e => { e.preventDefault(); send(f, r, e.submitter && e.submitter.value === "retract", answer); };
  if (after) after.after(tr); else $("rows").prepend(tr);
  (r ? f.at : f.kind).focus();
  if (r) f.at.select(); // what is typed takes its place
};
const send = async (f, r, withdraw, answer) => {
  const m = /^(-?)(?:(\d+):)?(\d+(?:\.\d+)?)$/.exec(f.at.value.trim());
  if (!m) { answer.textContent = "Time of the code: write 3:05"; return; }
  const typed = (60 * Number(m[2] || 0) + Number(m[3])) * (m[1] ? -1 : 1);
  const untouched = r && f.at.value === clock(sec(r.at) - zero(rec)); // keep its tenths
  const change = { do: withdraw ? "retract" : r ? "move" : "add", by: f.by.value, reason: f.reason.value,
    at: untouched ? r.at : Math.round((typed + zero(rec)) * rec.rate) };
  if (r) change.seq = r.seq; else change.kind = f.kind.value;
  for (const i of f.querySelectorAll("[name^='value.']")) {
    const v = Number(i.value);
    if (!(v >= 0) || i.value.trim() === "") { answer.textContent = "Write a number, as 1 or 0.5"; return; }
    (change.values ||= {})[i.name.slice(6)] = v;
  }
  const got = await fetch(`api/amend/${which}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(change) });
  if (!got.ok) { answer.textContent = await got.text(); return; }
  records = await got.json();
  choose();
  course.redraw();
  course.paper();
};
$("add").onclick = () => openForm(null, null);

// ---- keys ----
const step = d => {
  const list = shown.map(s => s[0]), now = at + 3.05;
  const next = d > 0 ? list.find(r => sec(r.from) > now + 0.05) : [...list].reverse().find(r => sec(r.from) < now - 0.5);
  if (next) seek(sec(next.from) - 3);
};
document.addEventListener("keydown", e => {
  if (/^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName) || e.ctrlKey || e.metaKey || e.altKey) return;
  if (/^(BUTTON|SUMMARY|A)$/.test(e.target.tagName) && (e.key === " " || e.key === "Enter")) return;
  const act = { " ": () => play(!playing), ArrowLeft: () => seek(at - 5), ArrowRight: () => seek(at + 5), Home: () => seek(0), End: () => seek(end()),
    "+": () => course.zoom(0.5, at - origin(which)), "=": () => course.zoom(0.5, at - origin(which)), "-": () => course.zoom(2), 0: () => course.whole(),
    n: () => step(1), p: () => step(-1), 1: () => setSpeed("1"), 2: () => setSpeed("2"), 3: () => setSpeed("3"),
    f: () => $("find").focus() }[e.key.length === 1 ? e.key.toLowerCase() : e.key];
  if (act) { act(); e.preventDefault(); }
});

// ---- start ----
// origin is the moment of record i from which two records are laid side by side.
const origin = i => {
  if (records.length < 2) return 0;
  const r = records[i];
  const shock = r.rows.find(x => x.kind === "shock.given" && !x.gone);
  return $("align").value === "shock" && shock ? shock.at / r.rate : zero(r);
};
const LONG = 150; // events: more are printed close together
const choose = () => {
  rec = records[which];
  $("name").textContent = records.map(r => r.name).join(" and ");
  document.title = `coxswain: review ${$("name").textContent}`;
  $("about").textContent = `${rec.began}. ${rec.session.software}; protocol “${rec.protocol}”, version ${(rec.session.protocol.split(" ")[1] || "not known").slice(0, 11)}; recogniser ${rec.session.recogniser}.`;
  $("unfinished").textContent = rec.unfinished ? `Not whole: ${rec.unfinished}.` : "";
  $("caution").textContent = rec.caution;
  document.body.classList.toggle("long", rec.rows.length > LONG);
  document.querySelectorAll(".whose").forEach(e => { e.textContent = records.length > 1 ? ` of ${rec.name}` : ""; });
  $("listed").textContent = records.length > 1 ? `Events of ${rec.name}` : "Events";
  $("since").textContent = rec.started < 0 ? "Record" : "Code";
  play(playing);
  fillStory();
  fillDebriefing();
  fillRows();
  fillFigures();
  show();
};
// turn goes to another of the records.
const turn = i => { if (i !== which) { play(false); which = i; part = -1; choose(); } };
const lay = () => {
  const ends = records.map((r, i) => [-origin(i), Math.max(1, r.end / r.rate) - origin(i)]);
  const limits = [Math.min(...ends.map(e => e[0])), Math.max(...ends.map(e => e[1]))];
  course.open($("strips"), records.map(r => r.name), limits, origin, (index, t) => {
    turn(index);
    seek(t);
  });
};
$("align").onchange = () => { lay(); show(); };
// The course is as wide as its place, which a scroll bar narrows too.
let wide = 0;
new ResizeObserver(([e]) => {
  if (Math.abs(e.contentRect.width - wide) < 1) return;
  wide = e.contentRect.width;
  course.redraw();
}).observe($("strips"));
(async () => {
  const [got, all] = await Promise.all(["api/records", "api/kinds"].map(u => fetch(u)));
  if (!got.ok) { $("story").replaceChildren(el("li", `This record cannot be shown: ${await got.text()}`)); return; }
  [records, kinds] = [await got.json(), await all.json()];
  $("alignbox").hidden = records.length < 2;
  $("list").hidden = !/^\/(record|pair)\//.test(location.pathname);
  $("list").href = "/" + (sessionStorage.getItem("wanted") || "");
  rec = records[0];
  lay();
  choose();
  seek(0);
})();
