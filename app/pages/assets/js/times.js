// Countdowns, by the server's clock: what a phone's clock says decides nothing.

import { word } from "./words.js";

let ahead = 0; // the server's clock less this device's, in milliseconds

function learn() {
  const told = Date.parse(document.body.dataset.now ?? "");
  if (!Number.isNaN(told)) ahead = told - Date.now();
}

/** Now, by the server's clock, in milliseconds. */
export const serverNow = () => Date.now() + ahead;

function wallClock(zone, instant) {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", second: "2-digit",
  }).formatToParts(instant);
  const { year, month, day, hour, minute, second } = Object.fromEntries(parts.map((part) => [part.type, part.value]));
  return Date.UTC(year, month - 1, day, hour, minute, second);
}

/**
 * A day and a time of day as the meet's clocks show them ("2026-06-13", "14:09:30"), as RFC 3339 in
 * UTC. Where clocks are set back and show an hour twice, the first is meant; empty where they never
 * show that time.
 */
export function instantAt(zone, day, time) {
  const meant = Date.parse(`${day}T${time}Z`);
  const shifted = [-1, 1].map((hours) => meant + hours * 86_400_000 / 2);
  const found = shifted
    .map((about) => meant - (wallClock(zone, about) - about))
    .filter((instant) => wallClock(zone, instant) === Math.floor(meant / 1000) * 1000);
  const instant = new Date(found.length ? Math.min(...found) : NaN);
  return Number.isNaN(instant.getTime()) ? "" : instant.toISOString();
}

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
    if (left > 0) delete one.dataset.closed; // a clock that was set wrong, and is right by now
    else if (one.dataset.closed !== "yes") {
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
