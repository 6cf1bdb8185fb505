"use strict";
// The page of drills: a case is chosen, told, and answered by typed or spoken
// callouts; what happens comes as a stream.
const post = (what, body) => fetch(`api/${what}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
const names = { case: "Case", coxswain: "coxswain", heard: "You", wrong: "Not taken" };
let drill = 0, was = false;

const line = t => {
  const li = el("li", undefined, { class: t.who });
  li.append(el("time", clock(t.at_s)), el("span", names[t.who]), el("span", t.text));
  return li;
};
const show = view => {
  const log = $("log"), box = $("told"), n = view.now, low = box.scrollHeight - box.scrollTop - box.clientHeight < 40;
  if (view.drill !== drill) { drill = view.drill; log.replaceChildren(); }
  log.append(...view.told.map(line));
  if (low) box.scrollTop = box.scrollHeight;
  $("choose").hidden = view.running;
  $("running").hidden = !view.running;
  if (n) {
    $("clock").textContent = clock(n.session_s);
    $("state").textContent = n.state + (n.rhythm ? ", " + n.rhythm : "");
    $("cycle").textContent = n.cycle_left_s === null || n.cycle_left_s === undefined ? "" : n.cycle_left_s < 0 ? "cycle over" : `cycle ${clock(n.cycle_left_s)} left`;
  }
  $("after").hidden = view.running || !view.record;
  if (view.record) $("debrief").href = `/record/${encodeURIComponent(view.record)}/`;
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
    label.append(radio, ` ${c.title} (up to ${c.minutes} min${c.protocol ? ", " + c.protocol : ""})`);
    return label;
  }));
  $("phrases").replaceChildren(...d.phrases.filter(p => !p.includes("{")).map(p => el("option", undefined, { value: p })));
  new EventSource("events").onmessage = e => show(JSON.parse(e.data));
})();
