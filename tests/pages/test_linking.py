"""Modules in one script do what they do apart, and what cannot be put together is refused."""

from __future__ import annotations

import pytest

from app.pages.linking import linked

APART = {
    "zone/begin.js": 'import { twice } from "./sums.js";\n'
    'import * as words from "../js/words.js";\n'
    "begin(words.say(twice(2)));",
    "zone/sums.js": 'import { say as tell } from "../js/words.js";\nconst own = 2;\n'
    "export const twice = (number) => tell(number * own);",
    "js/words.js": "const own = 1;\nexport function say(text) {\n  return text;\n}",
}


def test_each_module_stands_once_behind_what_it_needs_and_keeps_its_own_names() -> None:
    assert linked("zone/begin.js", APART.__getitem__).splitlines() == [
        "const module0 = (() => {",
        "const own = 1;",
        "function say(text) {",
        "  return text;",
        "}",
        "return { say };",
        "})();",
        "const module1 = (() => {",
        "const { say: tell } = module0;",
        "const own = 2;",
        "const twice = (number) => tell(number * own);",
        "return { twice };",
        "})();",
        "const { twice } = module1;",
        "const words = module0;",
        "begin(words.say(twice(2)));",
    ]


@pytest.mark.parametrize(
    "odd",
    [
        'import "./sums.js";',
        'import all from "./sums.js";',
        "export let state = 1;",
        "export default 1;",
        'export { twice } from "./sums.js";',
    ],
)
def test_what_cannot_be_put_into_one_script_is_refused_by_name(odd: str) -> None:
    with pytest.raises(ValueError, match=r"zone/begin\.js cannot be put into one script"):
        linked("zone/begin.js", {**APART, "zone/begin.js": odd}.__getitem__)


def test_modules_that_need_each_other_are_refused() -> None:
    round_about = {**APART, "js/words.js": 'import { twice } from "../zone/sums.js";'}
    with pytest.raises(ValueError, match=r"need each other: .*sums\.js → js/words\.js → zone/sums"):
        linked("zone/begin.js", round_about.__getitem__)
