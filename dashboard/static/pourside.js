// Keeps the bench fresh without a reload. Without this script the page still shows everything.
"use strict";

const bench = document.querySelector("[data-refresh]");
const gone = document.getElementById("gone");
let tag = null;
let missed = 0;

function busy() {
  // Do not pull a form or an open list from under a finger.
  const held = document.activeElement;
  return bench.contains(held) && held.matches("input, select, button, summary");
}

async function refresh() {
  try {
    const answer = await fetch(bench.dataset.refresh, {
      headers: tag ? { "If-None-Match": tag } : {}, cache: "no-store",
    });
    if (!answer.ok && answer.status !== 304) throw new Error(answer.status);
    missed = 0;
    if (answer.status === 200) {
      const text = await answer.text();
      if (busy()) return;
      tag = answer.headers.get("ETag");
      const open = [...bench.querySelectorAll("details")].map((one) => one.open);
      bench.innerHTML = text;
      [...bench.querySelectorAll("details")].forEach((one, n) => { one.open = Boolean(open[n]); });
    }
  } catch {
    missed += 1;
  }
  gone.hidden = missed < 3;
  bench.classList.toggle("stale", missed >= 3);
}

if (bench) setInterval(refresh, 3000);

document.querySelectorAll("[data-print]").forEach((button) => {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
});
