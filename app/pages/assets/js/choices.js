// Parts of a form that belong to one choice alone: <fieldset data-when="about=ruling conduct">. They
// are shown, and sent, while the field of that name has one of those values; an empty value stands
// for a box that is not ticked. `data-when-not` is the opposite. What is hidden keeps what it holds.

function valueOf(form, name) {
  const field = form.elements[name] ?? form.querySelector(`[data-choice="${name}"]`);
  if (field?.type === "checkbox") return field.checked ? field.value : "";
  return field?.value ?? "";
}

function fits(form, told) {
  const [name, values] = told.split("=");
  return values.split(" ").includes(valueOf(form, name));
}

function settle(form) {
  for (const part of form.querySelectorAll("[data-when], [data-when-not]")) {
    const { when, whenNot } = part.dataset;
    const shows = (!when || fits(form, when)) && (!whenNot || !fits(form, whenNot));
    part.hidden = !shows;
    part.disabled = !shows;
  }
}

const all = () => document.querySelectorAll("form:has([data-when], [data-when-not])").forEach(settle);

/** Show in every form what belongs to what is chosen, now and from now on. */
export function followChoices() {
  document.addEventListener("change", (event) => event.target.form && settle(event.target.form));
  document.addEventListener("reset", (event) => setTimeout(settle, 0, event.target));
  document.addEventListener("part-shown", all);
  all();
}
