// The page's own words, in its language: they stand in the page, none of them in scripts.

const said = Object.assign({}, ...[...document.querySelectorAll("script.words")].map((one) => JSON.parse(one.textContent)));

/** Whether the page has words for a key. */
export const has = (key) => key in said;

/** A text by its key, with what stands in braces filled in. */
export function word(key, values = {}) {
  if (!(key in said)) console.error(`no words for “${key}”`);
  return (said[key] ?? key).replace(/\{(\w+)\}/g, (_whole, name) => String(values[name] ?? ""));
}

/** One of several texts by number, as the language counts: keys “key one”, “key other”. */
export function counted(key, number, values = {}) {
  const form = new Intl.PluralRules(document.documentElement.lang).select(number);
  return word(`${key} ${form}` in said ? `${key} ${form}` : `${key} other`, { number, ...values });
}
