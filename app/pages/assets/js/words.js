// The page's own words, in its language: they stand in the page, none of them in scripts.

const said = Object.assign({}, ...[...document.querySelectorAll("script.words")].map((one) => JSON.parse(one.textContent)));

/** Whether the page has words for a key. */
export const has = (key) => key in said;

// Letters that are written from right to left (UAX 9), as far as names have them.
const TURNS = /[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]/;

/** A name that turns no number or comma beside it. */
export const apart = (name) => (TURNS.test(name) ? `\u2068${name}\u2069` : String(name));

/** A text by its key, with what stands in braces filled in and set apart. */
export function word(key, values = {}) {
  if (!(key in said)) console.error(`no words for “${key}”`);
  return (said[key] ?? key).replace(/\{(\w+)\}/g, (_whole, name) => apart(values[name] ?? ""));
}

/** One of several texts by number, as the language counts: keys “key one”, “key other”. */
export function counted(key, number, values = {}) {
  const form = new Intl.PluralRules(document.documentElement.lang).select(number);
  return word(`${key} ${form}` in said ? `${key} ${form}` : `${key} other`, { number, ...values });
}
