// The head official's page.

import { keepPlace } from "./focus.js";
import { countUp } from "./since.js";

countUp();
keepPlace();

// A word is asked for where holding back would undo something: the answer says what.
document.addEventListener("form-refused", (event) => {
  const named = event.detail.problem?.errors?.map((one) => one.pointer.slice(1)) ?? [];
  const asked = named.map((name) => event.target.elements[name]?.closest(".field[hidden]")).filter(Boolean);
  for (const field of asked) field.hidden = false;
  asked[0]?.querySelector("input").focus();
});
