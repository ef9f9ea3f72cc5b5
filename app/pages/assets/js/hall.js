// The notice board on a large screen: it turns its leaves by itself, the newest announcement at
// once, and goes on by the server's clock. A key or a tap holds a leaf (WCAG 2.2, 2.2.2).

import { poll, timeOfDay } from "./polling.js";
import { countDown, serverNow } from "./times.js";
import { word } from "./words.js";

const A_LEAF = 12_000;
const hold = document.getElementById("hold");
let shown, turning, held = false, known = new Set();

const leaves = () => [...document.querySelectorAll(".leaf")];

function show(leaf) {
  shown = leaf?.id;
  const all = leaves();
  for (const one of all) one.hidden = one !== leaf;
  document.getElementById("leaf-number").textContent = all.length > 1 ? `${all.indexOf(leaf) + 1} / ${all.length}` : "";
}

function turn() {
  const all = leaves();
  show(all[(all.findIndex((one) => one.id === shown) + 1) % all.length]);
}

function goOn() {
  clearInterval(turning);
  if (!held) turning = setInterval(turn, A_LEAF);
  hold.textContent = word(held ? "go on" : "hold");
  hold.setAttribute("aria-pressed", String(held));
}

// After the leaves were read again: what is new is shown at once, else the same leaf stays.
function settle() {
  const all = leaves();
  const news = all.find((one) => one.matches("[data-news]") && !known.has(one.id));
  known = new Set(all.map((one) => one.id));
  show((!held && news) || all.find((one) => one.id === shown) || all[0]);
  if (news) goOn();
}

function tick() {
  const text = timeOfDay(serverNow());
  const clock = document.getElementById("clock");
  if (clock.textContent !== text) clock.textContent = text;
}

hold.hidden = false;
hold.addEventListener("click", () => {
  held = !held;
  goOn();
});
document.addEventListener("part-shown", settle);
known = new Set(leaves().map((one) => one.id));
show(leaves()[0]);
goOn();
countDown();
poll();
tick();
setInterval(tick, 250);
