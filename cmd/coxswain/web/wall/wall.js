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

// fit makes what is next as large as its place allows, on its side of the cycle.
let fitted = "";
const fit = () => {
  const key = [$("what").textContent, $("ill").hidden, innerWidth, innerHeight].join();
  if (key === fitted) return; // numbers that change move nothing
  fitted = key;
  const box = $("next");
  for (let size = 1; size > 0.3; size -= 0.05) {
    box.style.setProperty("--size", size);
    if ($("what").offsetHeight + $("when").offsetHeight <= box.clientHeight && $("what").scrollWidth <= box.clientWidth) break;
  }
};
addEventListener("resize", fit);

// next is one thing and one time: what has waited longest, or comes first.
const next = n => {
  const d = (n.due || [])[0];
  const idle = !d && n.code_s === null, hears = n.recogniser === "hears";
  put("what", d ? d.text.replace(/\.$/, "") : !idle ? "Nothing due" : hears ? "Ready" : "");
  put("when", !d ? (idle && hears ? "Call what is done" : "") : d.in_s >= 0.5 ? "in " + clock(d.in_s) : d.in_s > -5 ? "now" : "now, for " + clock(d.in_s));
  $("next").className = d && d.in_s < 0.5 ? "now" : "";
  fit();
};

// cycle is a bar that shrinks; while nobody compresses, how long that has been.
const cycle = n => {
  const off = n.paused_s !== null && n.code_s !== null, over = n.cycle_left_s !== null && n.cycle_left_s < 0;
  $("cyclebox").className = off || over ? "warn" : n.cycle_left_s === null ? "calm" : "";
  put("cycle", off ? `Hands off ${Math.floor(n.paused_s)} s` : n.cycle_left_s === null ? "" : over ? `Cycle over by ${clock(n.cycle_left_s)}` : `Cycle ${clock(n.cycle_left_s)} left`);
  $("left").style.width = `${Math.max(0, Math.min(100, 100 * (n.cycle_left_s || 0) / (n.cycle_s || 120)))}%`;
};
const given = n => $("given").replaceChildren(...(n.given || []).slice(0, 6).map(g => {
  const li = document.createElement("li"), b = document.createElement("b");
  b.textContent = `${g.count} ${g.name}`;
  li.append(b, `${clock(g.ago_s)} ago`);
  return li;
}));
const room = n => {
  const share = n.recogniser === "starting" ? 0 : Math.max(0, Math.min(1, (n.microphone_dbfs + 70) / 60));
  $("loudness").style.width = `${100 * share}%`;
  put("loud", n.loud ? "loud" : "");
};
const show = n => {
  heard = Date.now();
  put("state", n.state + (n.rhythm ? ", " + n.rhythm : ""));
  put("code", n.code_s === null ? "" : "code " + clock(n.code_s));
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
