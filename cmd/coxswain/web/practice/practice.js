"use strict";
// The page of drills: a case is chosen, told, and answered by typed or spoken
// callouts; what happens comes as a stream.
const post = (what, body) => fetch(`api/${what}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
const names = { case: "Case", coxswain: "coxswain", heard: "You", wrong: "Note" };
let drill = 0, was = false, scored = "";

const line = t => {
  const li = el("li", undefined, { class: t.who });
  li.append(el("time", clock(t.at_s)), el("span", names[t.who]), el("span", t.text));
  return li;
};
const known = x => x !== null && x !== undefined;
// stand shows how the code stands: with advice off, not what is due.
const stand = (n, silent) => {
  const off = known(n.paused_s), cycle = known(n.cycle_left_s), d = (n.due || [])[0];
  $("clock").textContent = clock(n.session_s);
  $("state").textContent = n.state + (off && known(n.code_s) && n.state.startsWith("hands off") ? ` ${Math.floor(n.paused_s)} s` : "") + (n.rhythm ? ", " + n.rhythm : "");
  $("cycle").textContent = !cycle ? "No cycle yet" : n.cycle_left_s < 0 ? "Cycle over" : `Cycle ${clock(n.cycle_left_s)} left`;
  $("left").style.width = `${cycle ? Math.max(0, Math.min(100, 100 * n.cycle_left_s / (n.cycle_s || 120))) : 0}%`;
  $("due").textContent = silent ? "not told: advice is off" : !d ? (n.newborn ? "no newborn protocol" : "nothing due") : `${d.text.replace(/\.$/, "")}, ${d.in_s >= 0.5 ? "in " + clock(d.in_s) : "now"}`;
  $("given").replaceChildren(...(n.given || []).map(g => el("li", `${g.count} ${g.name}, ${g.before ? "before arrival" : clock(g.ago_s) + " ago"}`)), ...(n.given || []).length ? [] : [el("li", "nothing yet")]);
};
// score tells what the last drill earned, and what would have earned more.
const score = async record => {
  scored = record;
  $("debrief").href = `/record/${encodeURIComponent(record)}/`;
  $("score").textContent = "";
  $("lost").replaceChildren();
  const r = await fetch(`/record/${encodeURIComponent(record)}/api/records`), d = r.ok && (await r.json())[0].debriefing;
  if (!d || scored !== record) return;
  $("score").textContent = `${d.points} of ${d.of} points: ${d.title}${d.team ? ", " + d.team : ""}`;
  $("lost").replaceChildren(...d.findings.filter(f => f.points < f.of).map(f => el("li", `${f.reason}, ${f.points} of ${f.of}. ${f.better}`)));
};
const show = view => {
  const log = $("log"), box = $("told"), low = box.scrollHeight - box.scrollTop - box.clientHeight < 40;
  if (view.drill !== drill) { drill = view.drill; log.replaceChildren(); $("scene").textContent = "The case is about to be told."; }
  log.append(...view.told.map(line));
  const told = view.told.filter(t => t.who === "case").pop();
  if (told) $("scene").textContent = told.text;
  $("title").textContent = view.title || "";
  $("choose").hidden = view.running;
  $("running").hidden = $("now").hidden = !view.running;
  if (low) box.scrollTop = box.scrollHeight;
  if (view.running && view.now) stand(view.now, view.silent);
  $("after").hidden = view.running || !view.record;
  if (!view.running && view.record && view.record !== scored) score(view.record);
  if (was !== view.running) {
    was = view.running;
    if (was) $("say").elements.line.focus(); else if (view.record) $("debrief").focus();
  }
};
$("choose").onsubmit = async e => {
  e.preventDefault();
  const f = $("choose").elements;
  $("answer").textContent = "";
  const r = await post("begin", { case: f.case.value, team: f.team.value, silent: !f.advice.checked, spoken: f.spoken.value !== "" });
  if (!r.ok) $("answer").textContent = await r.text();
};
$("say").onsubmit = async e => {
  e.preventDefault();
  const input = $("say").elements.line, text = input.value;
  if (!text.trim()) return;
  input.value = "";
  const r = await post("say", text);
  $("answer").textContent = r.ok ? "" : await r.text();
};
$("end").onclick = () => post("end", null);
(async () => {
  const d = await (await fetch("api/cases")).json();
  $("caution").textContent = d.caution;
  $("cases").replaceChildren(...d.cases.map((c, i) => {
    const label = el("label"), radio = el("input", undefined, { type: "radio", name: "case", value: c.id });
    radio.checked = i === 0;
    label.append(radio, el("b", c.title), el("span", `up to ${c.minutes} min, ${c.looks} aims${c.protocol ? `, by “${c.protocol}”` : ""}`, { class: "source" }));
    return label;
  }));
  $("phrases").replaceChildren(...d.phrases.filter(p => !p.includes("{")).map(p => el("option", undefined, { value: p })));
  new EventSource("events").onmessage = e => show(JSON.parse(e.data));
})();
