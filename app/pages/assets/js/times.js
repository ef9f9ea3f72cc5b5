// Countdowns, by the server's clock: what a phone's clock says decides nothing.

import { word } from "./words.js";

let ahead = 0; // the server's clock less this device's, in milliseconds

function learn() {
  const told = Date.parse(document.body.dataset.now ?? "");
  if (!Number.isNaN(told)) ahead = told - Date.now();
}

/** Now, by the server's clock, in milliseconds. */
export const serverNow = () => Date.now() + ahead;

function asLeft(milliseconds) {
  const seconds = Math.ceil(milliseconds / 1000);
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60];
  const two = (number) => String(number).padStart(2, "0");
  return (hours ? `${hours}:${two(minutes)}` : String(minutes)) + `:${two(seconds % 60)}`;
}

function show() {
  for (const one of document.querySelectorAll("[data-until]")) {
    const left = Date.parse(one.dataset.until) - serverNow();
    const text = left > 0 ? word("left", { time: asLeft(left) }) : word("over");
    if (one.textContent !== text) one.textContent = text;
    one.classList.toggle("soon", left > 0 && left < 300_000);
    if (left <= 0 && one.dataset.closed !== "yes") {
      one.dataset.closed = "yes";
      one.dispatchEvent(new CustomEvent("time-over", { bubbles: true }));
    }
  }
}

/** Keep every element with `data-until` (RFC 3339) saying how long is left. */
export function countDown() {
  learn();
  document.addEventListener("time-told", learn);
  document.addEventListener("page-refreshed", show);
  show();
  setInterval(show, 1000);
}
