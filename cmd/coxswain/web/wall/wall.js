"use strict";
// The wall display: shows what the session sends, and says so when it stops.
const $ = id => document.getElementById(id);
const clock = s => {
  if (s === null || s === undefined) return "-:--";
  const t = Math.floor(Math.abs(s) + (s < 0 ? 0.999 : 0));
  return Math.floor(t / 60) + ":" + String(t % 60).padStart(2, "0");
};
const put = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };
let heard = 0;

// ill tells what is not well; nothing while all is.
const ill = n => {
  const out = [];
  if (n.recogniser !== "hears") out.push(n.recogniser === "starting" ? "DOES NOT HEAR YET" : "CANNOT HEAR");
  if (n.sound && n.sound !== "whole") out.push(n.sound.endsWith("lost") && n.sound !== "lost" ? `HEARS BADLY, SOUND ${n.sound.toUpperCase()}` : "SOUND " + n.sound.toUpperCase());
  if (n.beats.uneven) out.push("BEAT UNEVEN, COUNT ALOUD");
  if (!n.saving && n.recogniser !== "starting") out.push("NOT SAVING");
  return out.join(", ");
};
const warn = text => { put("ill", text); $("ill").hidden = !text; fit(); };

// fit makes the line of what is next as large as its place allows: in one line, if that leaves it
// the largest thing, or else what is next on lines beside its time.
let fitted = "";
const fit = () => {
  const key = [$("when").textContent.replace(/\d/g, "0"), $("what").textContent, $("ill").hidden, innerWidth, innerHeight].join();
  if (key === fitted) return; // numbers that change move nothing
  fitted = key;
  const box = $("next"), fits = () => $("line").offsetHeight + $("under").offsetHeight <= box.clientHeight && $("line").scrollWidth <= $("line").clientWidth;
  for (const [one, least] of [[true, 0.62], [false, 0.3]]) {
    box.classList.toggle("one", one);
    for (let size = 1; size >= least; size -= 0.02) {
      box.style.setProperty("--size", size);
      if (fits()) return;
    }
  }
};
addEventListener("resize", fit);

// next is one thing and one time, told in one line: what has waited longest, or comes first.
const next = n => {
  const d = (n.due || [])[0];
  const idle = !d && n.code_s === null, hears = n.recogniser === "hears";
  put("what", d ? d.text.replace(/\.$/, "").replace(/(\d) /g, "$1\u00a0") : !idle ? (n.newborn ? "No newborn protocol" : "Nothing due") : hears ? "Ready" : "");
  put("when", !d ? "" : d.in_s >= 0.5 ? "in " + clock(d.in_s) : "now");
  put("under", !d ? (idle && hears ? "Call what is done" : "") : d.in_s > -5 ? "" : `due for ${clock(d.in_s)}`);
  $("next").classList.toggle("now", Boolean(d) && d.in_s < 0.5);
  fit();
};

// state tells in a word what is done and, while nobody compresses, for how many seconds that has been.
const state = n => {
  const off = n.paused_s !== null && n.paused_s !== undefined && n.code_s !== null, s = Math.floor(n.paused_s);
  put("state", n.state + (off ? ` ${s < 100 ? s + " s" : clock(s)}` : ""));
  $("state").className = off ? "off" : "";
  put("rhythm", n.rhythm || "");
  put("code", n.code_s === null ? "" : "code " + clock(n.code_s));
};

// cycle is a bar that shrinks.
const cycle = n => {
  const none = n.cycle_left_s === null || n.cycle_left_s === undefined, over = !none && n.cycle_left_s < 0;
  $("cyclebox").className = over ? "over" : none ? "calm" : "";
  put("cycle", none ? "" : over ? `Cycle over by ${clock(n.cycle_left_s)}` : `Cycle ${clock(n.cycle_left_s)} left`);
  $("left").style.width = `${Math.max(0, Math.min(100, 100 * (n.cycle_left_s || 0) / (n.cycle_s || 120)))}%`;
};
const given = n => $("given").replaceChildren(...(n.given || []).slice(0, 6).map(g => {
  const li = document.createElement("li"), b = document.createElement("b");
  b.textContent = `${g.count} ${g.name}`;
  li.append(b, g.before ? "before arrival" : `${clock(g.ago_s)} ago`);
  return li;
}));
const room = n => {
  const share = n.recogniser === "starting" ? 0 : Math.max(0, Math.min(1, (n.microphone_dbfs + 70) / 60));
  $("loudness").style.width = `${100 * share}%`;
  put("loud", n.loud ? "loud" : "");
};
const show = n => {
  heard = Date.now();
  state(n);
  warn(ill(n));
  next(n);
  cycle(n);
  given(n);
  room(n);
  const last = (n.last || [])[0];
  const unclear = n.not_understood_s !== null && n.not_understood_s !== undefined && n.not_understood_s < 10;
  $("heard").className = unclear ? "unclear" : "";
  put("heard", unclear ? "? not understood" : last ? `“${last.text}” ${clock(last.ago_s)} ago` : "nothing called yet");
  put("caution", n.caution);
};
new EventSource("events" + location.search).onmessage = e => show(JSON.parse(e.data));
setInterval(() => { if (Date.now() - heard > 2000) warn("DISPLAY LOST COXSWAIN"); }, 500);
