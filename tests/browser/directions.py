"""Does a name that runs from right to left turn what stands beside it?

By the Unicode Bidirectional Algorithm (UAX 9) numbers, commas and brackets beside such a name move
with it unless the name is isolated: by an element (HTML, `bdi` and `dir="auto"`) or by FSI and PDI.
"""

from __future__ import annotations

from playwright.sync_api import Page

TURNED = """() => {
  const RTL = /[\\u0590-\\u08ff\\ufb1d-\\ufdff\\ufe70-\\ufefc]/;
  const unguarded = (text) => RTL.test(text.replace(/[\\u2066-\\u2068][^\\u2069]*\\u2069/g, ""));
  // Sentences of the service are English as a whole, and tell names among words.
  const GUARDS = "bdi, [dir=auto], [lang=en]:not(html), script, style, textarea";
  const READ = ["aria-label", "alt", "title", "placeholder", "data-sign", "label", "content"];
  const short = (text) => text.trim().slice(0, 120);
  const found = [];
  const walker = document.createTreeWalker(document.documentElement, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode())
    if (unguarded(node.data) && !node.parentElement.closest(GUARDS))
      found.push(`<${node.parentElement.localName}> ${short(node.data)}`);
  for (const name of READ)
    for (const one of document.querySelectorAll(`[${name}]`)) {
      const text = one.getAttribute(name);
      if (unguarded(text)) found.push(`${name}: ${short(text)}`);
    }
  for (const one of document.querySelectorAll("input:not([type=hidden]), textarea"))
    if (RTL.test(one.value) && one.dir !== "auto") found.push(`field ${one.name || one.id}`);
  return found;
}"""


def turned(page: Page) -> list[str]:
    """Every text of a page in which a name could reorder its neighbours."""
    return [f"not set apart: {one}" for one in page.evaluate(TURNED)]
