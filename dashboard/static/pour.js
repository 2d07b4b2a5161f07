// Answers at once while a size is typed or the slider moves. Without it, 'Show me' does the same.
"use strict";

const form = document.getElementById("pour");
const answer = document.getElementById("answer");
const said = document.getElementById("said");
const begin = document.getElementById("begin");
const WAIT_MS = 200;
let waiting = 0;
let asked = 0;

async function ask() {
  const number = asked += 1;
  const typed = new URLSearchParams(new FormData(form));
  const sizes = ["resin", "area_cm2", "depth_mm", "volume_ml", "base", "later_h", "sensor"];
  for (const key of [...typed.keys()]) {
    if (!sizes.includes(key.replace(":was", ""))) typed.delete(key);
  }
  try {
    const found = await fetch(`${answer.dataset.answer}?${typed}`);
    // What was asked later is the answer, whichever comes first.
    if (!found.ok || number !== asked) return;
    answer.innerHTML = await found.text();
    answer.classList.remove("stale");
    const verdict = answer.querySelector("[data-said]");
    said.textContent = verdict ? verdict.dataset.said : "";
    if (verdict && begin) {
      begin.textContent = verdict.dataset.begin;
      begin.classList.toggle("big", verdict.matches(".yes"));
    }
  } catch {
    answer.classList.add("stale");
  }
}

function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(ask, WAIT_MS);
}

function tellHours(slider) {
  const told = document.getElementById("later");
  const words = told.dataset.then.replace("{}", slider.value);
  told.value = slider.value === "0" ? told.dataset.now : words;
}

function nameOnlyTheNew(chooser) {
  const label = document.getElementById("new-piece");
  label.hidden = chooser.value !== "";
  label.querySelector("input").disabled = label.hidden;
}

if (form && answer) {
  const chooser = form.querySelector("[name=piece]");
  // With a fault at the name both stay in sight.
  if (chooser && !form.querySelector("#wrong-name")) nameOnlyTheNew(chooser);
  form.addEventListener("input", (event) => {
    if (event.target.matches("[name=area_cm2], [name=depth_mm], [name=volume_ml], [name=later_h]")) {
      if (event.target.name === "later_h") tellHours(event.target);
      soon();
    }
  });
  form.addEventListener("change", (event) => {
    if (event.target.matches("[data-reload]")) {
      // Another resin has other bottles and another name on the clock.
      form.querySelector("button[formmethod=get]").click();
    } else if (event.target.matches("[name=base], [name=sensor]")) {
      soon();
    } else if (event.target === chooser) {
      nameOnlyTheNew(chooser);
    }
  });
}
