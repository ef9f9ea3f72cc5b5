// A meet's live feed (server-sent events), heard as a word that there is something to read. One that
// breaks is opened again by itself. One whose line died without a word stays silent for ever, which
// nobody can tell from here: whoever reads without it finds that out, and opens it anew.

import { growingWaits } from "./waits.js";

/** The feed of a meet; `heard` is called when it opened, says something, or broke. */
export function liveFeed(meet, heard) {
  const waits = growingWaits(1000, 8000);
  let stream, again;

  function open() {
    close();
    stream = new EventSource(`/api/meets/${meet}/feed`);
    stream.addEventListener("open", () => {
      waits.startAgain();
      heard(); // what happened before it opened, it does not tell
    });
    for (const name of ["entry", "reset", "bye", "ended"]) stream.addEventListener(name, () => heard());
    stream.addEventListener("error", () => {
      close();
      again = setTimeout(open, waits.next());
      heard();
    });
  }

  function close() {
    clearTimeout(again);
    stream?.close();
  }

  return { open, close };
}
