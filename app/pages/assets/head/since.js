// How long ago something was, by the server's clock: `<span data-since="RFC 3339">`.

import { serverNow } from "../js/times.js";
import { word } from "../js/words.js";

function asLong(milliseconds) {
  const seconds = Math.max(0, Math.floor(milliseconds / 1000));
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60];
  const two = (number) => String(number).padStart(2, "0");
  return (hours ? `${hours}:${two(minutes)}` : String(minutes)) + `:${two(seconds % 60)}`;
}

function show() {
  for (const one of document.querySelectorAll("[data-since]")) {
    const text = word("ago", { time: asLong(serverNow() - Date.parse(one.dataset.since)) });
    if (one.textContent !== text) one.textContent = text;
  }
}

/** Keep every element with `data-since` saying how long ago that was. */
export function countUp() {
  show();
  setInterval(show, 1000);
  document.addEventListener("part-shown", show);
}
