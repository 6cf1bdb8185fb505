"use strict";
// What every page uses.
const $ = id => document.getElementById(id);
const el = (tag, text, attrs = {}) => {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, v);
  return e;
};
const clock = s => {
  if (s < -0.5) return "-" + clock(-s);
  const t = Math.max(0, Math.round(s));
  return Math.floor(t / 60) + ":" + String(t % 60).padStart(2, "0");
};
// picture makes an element of an SVG that coxswain drew.
const picture = svg => document.importNode(new DOMParser().parseFromString(svg, "image/svg+xml").documentElement, true);
