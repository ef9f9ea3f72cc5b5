// The form of a ruling: it asks for what the verdict needs, and once it is signed the page goes on
// to the next case that awaits one.

import { send } from "../js/send.js";

const { meet, case: own } = document.body.dataset;
const inForm = (selector) => [...(document.getElementById("ruling-form")?.querySelectorAll(selector) ?? [])];

function fit() {
  const form = document.getElementById("ruling-form");
  if (!form) return;
  const chosen = form.querySelector("input[name=verdict]:checked");
  for (const part of inForm("[data-for]")) show(part, part.dataset.for === (chosen?.value ?? ""));
  const named = form.querySelector("select[name=infringement]");
  for (const part of inForm("[data-only]")) {
    const is = named?.value ? named.value === part.dataset.only : part.hasAttribute("data-named");
    show(part, is && chosen?.value === "confirmed");
  }
}

function show(part, is) {
  part.hidden = !is;
  for (const field of part.matches("button") ? [] : part.querySelectorAll("input, select, textarea")) field.disabled = !is;
}

async function goOn(event) {
  if (event.target.id !== "ruling-form") return;
  const ruled = event.detail.data.id;
  const docket = await send("GET", `/api/meets/${meet}/docket`);
  const next = docket.data?.cases.find((one) => one.id !== own);
  location.assign(next ? `/meets/${meet}/cases/${next.id}?ruled=${ruled}#case-title` : `/meets/${meet}/head?ruled=${ruled}#docket-title`);
}

/** Let the form of the ruling do all this, now and when it is shown anew. */
export function rule() {
  fit();
  document.addEventListener("change", fit);
  document.addEventListener("part-shown", fit);
  document.addEventListener("form-taken", goOn);
}
