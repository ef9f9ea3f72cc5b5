// What is dragged, typed and chosen in the facts of an account, and pictures that are added to a report
// that has gone already. Each change is kept at once.

import { seen } from "../js/seen.js";
import { newId } from "../js/send.js";
import { word } from "../js/words.js";
import { metresAt, placed, showPictures, showPlace } from "./facts.js";
import { sightOf } from "./meet.js";
import { pictureItem, saysEnough } from "./report.js";
import { showStep } from "./steps.js";
import { addOnce } from "./store.js";

const by = (id) => document.getElementById(id);
const MOST_ALONG = 2560, MOST_BYTES = 16 * 1024 * 1024;
const BY_KEY = { ArrowLeft: -0.1, ArrowDown: -0.1, ArrowRight: 0.1, ArrowUp: 0.1, PageDown: -1, PageUp: 1 };

/** Follow the fields of the facts; adds to `core` what the buttons beside them do. */
export function listenToFields(core, outbox) {
  const { state } = core;
  const here = () => core.draftOf(state.view.draft);
  // Where a finger holds the baton: until it lifts, any redraw takes the draft from the database anew.
  let dragged;

  function place(changes, dragging = false) {
    const draft = here();
    const sight = sightOf(state, draft.seen);
    const position = placed(dragged ?? draft.position, changes);
    const shown = { ...draft, position };
    showPlace(state, shown, sight, { dragging });
    maySign(shown, sight);
    if (dragging) dragged = position;
    else core.change(draft, { position });
  }

  function maySign(draft, sight = sightOf(state, draft.seen)) {
    if (by("sign")) by("sign").disabled = !saysEnough(draft, sight);
  }

  core.moveBy = (by_) => {
    const { position = { metres: 0, uncertainty: 0.3 } } = here();
    place({ metres: position.metres + (by_.metres ?? 0), uncertainty: position.uncertainty + (by_.uncertainty ?? 0) });
  };
  core.refreshStep = () => showStep(state, state.view);

  document.addEventListener("pointerdown", (event) => {
    const drawing = event.target.closest?.("#drawing");
    if (!drawing || event.button > 0) return;
    drawing.setPointerCapture(event.pointerId);
    place({ metres: metresAt(event.clientX) }, true);
  });
  document.addEventListener("pointermove", (event) => dragged && place({ metres: metresAt(event.clientX) }, true));
  for (const name of ["pointerup", "pointercancel"]) {
    document.addEventListener(name, () => {
      if (!dragged) return;
      place({});
      dragged = undefined;
    });
  }
  document.addEventListener("keydown", (event) => {
    if (event.target.id !== "drawing" || !(event.key in BY_KEY)) return;
    event.preventDefault();
    core.moveBy({ metres: BY_KEY[event.key] });
  });

  document.addEventListener("input", (event) => {
    const field = event.target;
    if (field.id === "words") core.change(here(), { words: seen(field.value) });
    else if (field.id === "metres" || field.id === "uncertainty") typed(field);
    else if (field.dataset.fact) {
      const draft = here();
      core.change(draft, { answers: { ...draft.answers, [field.dataset.fact]: field.value.replace(/\D/g, "") } });
      maySign(draft);
    }
  });

  function typed(field) {
    const value = Number(field.value.trim().replace(",", ".").replace("−", "-"));
    const isOne = field.value.trim() !== "" && Number.isFinite(value);
    field.toggleAttribute("aria-invalid", !isOne);
    if (isOne) place({ [field.id]: value });
  }

  document.addEventListener("change", async (event) => {
    const { pictures: draft, pictureFor: report } = event.target.dataset ?? {};
    if (!draft && !report) return;
    for (const file of [...event.target.files]) await add(file, draft, report);
    event.target.value = "";
  });

  async function add(file, draftId, report) {
    const { problem, whole, ...made } = await pictureOf(file);
    const name = file.name || word("picture");
    complainOfPicture(problem && `${name}: ${word(problem)}`);
    if (problem) return;
    const picture = { id: newId(), ...made };
    const draft = draftId && core.draftOf(draftId);
    if (draft) {
      await core.keep((at) => at("pictures").put(picture));
      await core.change(draft, { pictures: [...(draft.pictures ?? []), { id: picture.id, name, whole }] });
      if (by("pictures")) showPictures(draft);
      return;
    }
    const item = pictureItem(core.meet, report, state.me, { id: picture.id, name });
    await outbox.add((at) => {
      at("pictures").put(picture);
      addOnce(at("outbox"), item);
    });
    await core.redraw();
  }

  // In the step beside the button, where there is one; else as news.
  function complainOfPicture(words) {
    const place = by("picture-problem");
    if (words) core.news(words);
    if (!place) return;
    place.hidden = !words;
    place.textContent = words ?? "";
  }
}

// A picture is made smaller on the phone, which also leaves out where and with what it was taken. What
// the browser cannot draw goes as it is, whole, if the server knows the kind; all else is a problem.
async function pictureOf(file) {
  try {
    const drawn = await createImageBitmap(file);
    const scale = Math.min(1, MOST_ALONG / Math.max(drawn.width, drawn.height));
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [Math.round(drawn.width * scale), Math.round(drawn.height * scale)];
    canvas.getContext("2d").drawImage(drawn, 0, 0, canvas.width, canvas.height);
    const packed = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
    return { type: "image/jpeg", bytes: await packed.arrayBuffer() };
  } catch {
    const isHeic = /hei[cf]/.test(file.type) || /\.hei[cf]$/i.test(file.name);
    if (!isHeic) return { problem: "no picture" };
    if (file.size > MOST_BYTES) return { problem: "picture too large" };
    return { type: "image/heic", bytes: await file.arrayBuffer(), whole: true };
  }
}
