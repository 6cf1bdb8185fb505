"use strict";
// The wall display: shows what the session sends, and says so when it stops.
const $ = id => document.getElementById(id);
const clock = s => {
  if (s === null || s === undefined) return "-:--";
  const t = Math.floor(Math.abs(s) + (s < 0 ? 0.999 : 0));
  return (s < 0 ? "+" : "") + Math.floor(t / 60) + ":" + String(t % 60).padStart(2, "0");
};
const fill = (list, rows) => {
  list.replaceChildren(...rows.map(([left, right]) => {
    const li = document.createElement("li");
    for (const text of [left, right]) {
      const span = document.createElement("span");
      span.textContent = text;
      li.append(span);
    }
    return li;
  }));
};
let heard = 0;
const show = n => {
  heard = Date.now();
  $("state").textContent = n.state + (n.rhythm ? ", " + n.rhythm : "") + (n.shocks ? ", shocks " + n.shocks : "");
  const ill = [];
  if (n.recogniser !== "hears") ill.push("CANNOT HEAR");
  if (n.sound !== "whole") ill.push("SOUND " + n.sound.toUpperCase());
  if (!n.saving) ill.push("NOT SAVING");
  $("health").textContent = ill.length ? ill.join(", ") : "hears, room " + Math.round(n.microphone_dbfs) + " dB";
  $("health").className = ill.length ? "warn" : "";
  $("code").textContent = clock(n.code_s);
  const off = n.paused_s !== null && n.code_s !== null;
  $("cyclename").textContent = off ? "Hands off" : n.cycle_left_s < 0 ? "Cycle over by" : "Cycle left";
  $("cycle").textContent = off ? clock(n.paused_s) : clock(n.cycle_left_s).replace("+", "");
  $("cyclebox").className = "clock" + (off || n.cycle_left_s < 0 ? " warn" : "");
  fill($("due"), n.due.map(d => [d.text, d.in_s < 0 ? "now" : "in " + clock(d.in_s)]));
  fill($("last"), n.last.map(e => [e.text, clock(e.ago_s) + " ago"]));
  $("caution").textContent = n.caution;
};
new EventSource("events" + location.search).onmessage = e => show(JSON.parse(e.data));
setInterval(() => {
  if (Date.now() - heard > 2000) {
    $("health").textContent = "DISPLAY LOST COXSWAIN";
    $("health").className = "warn";
  }
}, 500);
