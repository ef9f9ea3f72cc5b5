// What nobody sees is left out of what is typed or pasted: the service takes none of it
// (app/visible.py), and from a phone would say so when the heat is long over. What a script needs inside
// its words stays: joiners behind a letter or sign, direction marks beside letters that run from right
// to left.

const BLANKS = /[\t\u2028\u2029]/gu;
const LEFT_OUT = /[\0-\x09\x0B-\x1F\x7F-\x9F\u00AD\u034F\u115F\u1160\u17B4\u17B5\u200B\u2060-\u206F\u202A-\u202E\u3164\uFEFF\uFFA0\uFFF9-\uFFFB\uE000-\uF8FF\u{F0000}-\u{10FFFF}]/gu;
const MARKS = /[\u061C\u200E\u200F]/gu;
const FROM_RIGHT = /[\p{Script=Hebrew}\p{Script=Arabic}\p{Script=Syriac}\p{Script=Thaana}\p{Script=Nko}\p{Script=Samaritan}\p{Script=Mandaic}\p{Script=Adlam}\p{Script=Hanifi_Rohingya}]/u;
const LOOSE = /(^|[^\p{L}\p{N}\p{P}\p{S}\p{M}])[\u200C\u200D\uFE00-\uFE0F\u180B-\u180D\u180F]+/gu;
// Tags do their work in the flags that end with one, and nowhere else (UTS 51, annex C).
const TAGS = /(\u{1F3F4}[\u{E0020}-\u{E007E}]+\u{E007F})|[\u{E0000}-\u{E007F}]/gu;

/** A text as it is read: without what nobody sees. */
export function seen(text) {
  const shown = text.replace(BLANKS, " ").replace(LEFT_OUT, "").replace(TAGS, "$1");
  const bare = shown.replace(MARKS, "");
  return (FROM_RIGHT.test(bare) ? shown : bare).replace(LOOSE, "$1");
}
