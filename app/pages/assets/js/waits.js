/**
 * Waits in milliseconds that double up to `most`. Spread, so that a whole crew does not knock in one
 * instant after the server was gone.
 */
export function growingWaits(least, most) {
  let wait = least;
  return {
    next() {
      const now = wait;
      wait = Math.min(wait * 2, most);
      return now * (0.5 + Math.random() / 2);
    },
    startAgain() {
      wait = least;
    },
  };
}
