// What this phone shows of the meet: read at the start, and again whenever the live feed says that
// something happened. It is kept, so that the page opens without a network. A look every twenty
// seconds keeps “in touch” true where a line died without a word.

const EVERY = 20_000, PATIENCE = 8000;

/** Follow a meet. `told` gets what was read, `touched` how the line is. */
export function follow({ meet, store, told, touched }) {
  let stream, again, wait = 1000, etag, reading, owed = false, line = "";

  function touch(state) {
    line = state;
    touched(state);
  }

  function look() {
    if (reading) {
      owed = true;
      return reading;
    }
    reading = readOnce().finally(() => {
      reading = undefined;
      if (owed) {
        owed = false;
        look();
      }
    });
    return reading;
  }

  async function readOnce() {
    let answer;
    try {
      const headers = etag ? { "If-None-Match": etag } : {};
      answer = await fetch(`/api/meets/${meet}/watch`, { headers, cache: "no-store", signal: AbortSignal.timeout?.(PATIENCE) });
      if (answer.status === 200) {
        const watch = await answer.json();
        etag = answer.headers.get("ETag");
        await told(watch);
      }
    } catch {
      return touch("out of touch");
    }
    if (answer.status === 401) touch("ended");
    else if (answer.status === 200 || answer.status === 304) touch("in touch");
    else if (answer.status >= 500) touch("out of touch");
  }

  function connect() {
    clearTimeout(again);
    stream?.close();
    stream = new EventSource(`/api/meets/${meet}/feed`);
    stream.addEventListener("open", () => {
      wait = 1000;
      look();
    });
    for (const name of ["entry", "reset", "bye"]) stream.addEventListener(name, look);
    stream.addEventListener("ended", () => {
      stream.close();
      look();
    });
    stream.addEventListener("error", () => {
      stream.close();
      if (line === "ended") return;
      look();
      // Spread, so that a whole crew does not knock in one instant after the server was gone.
      again = setTimeout(connect, wait * (0.5 + Math.random() / 2));
      wait = Math.min(wait * 2, 8000);
    });
  }

  function start() {
    if (document.hidden) return;
    line = "";
    connect();
  }

  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) return start();
    clearTimeout(again);
    stream?.close();
  });
  addEventListener("online", start);
  addEventListener("offline", () => look());
  addEventListener("pageshow", (event) => event.persisted && start());
  setInterval(() => document.hidden || line === "ended" || look(), EVERY);
  start();
  return { look };
}
