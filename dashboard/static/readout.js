// Reads out a chart's values under the cursor, a finger or the arrow keys. Without this script
// the chart, its words and its text equivalent are all there.
"use strict";

const pageWords = document.getElementById("words").dataset; // in the page's language
// The 24-hour clock and the day before the month, as everywhere on the page.
const pageLanguage = document.documentElement.lang === "en" ? "en-GB" : document.documentElement.lang;

function known(language) {
  try {
    return Intl.getCanonicalLocales(language)[0];
  } catch {
    return "en-GB";
  }
}

function readable(box) {
  const told = JSON.parse(box.dataset.read);
  const steps = [...new Set(told.at.flat())].sort((a, b) => a - b);
  if (!steps.length) return;
  const out = document.createElement("p");
  out.className = "readout quiet";
  out.setAttribute("aria-hidden", "true");
  // Said once: beneath the other charts the line is there for the values alone.
  if (!document.querySelector(".readout")) out.textContent = pageWords.touch;
  box.after(out);
  const handle = document.createElement("div");
  handle.className = "handle";
  handle.tabIndex = 0;
  handle.setAttribute("role", "slider");
  handle.setAttribute("aria-label", `${pageWords.read}: ${box.dataset.title}`);
  handle.setAttribute("aria-valuemin", "0");
  handle.setAttribute("aria-valuemax", String(steps.length - 1));
  box.append(handle);
  const clock = told.zone && new Intl.DateTimeFormat(known(pageLanguage), {
    timeZone: told.zone, weekday: "short", day: "numeric", month: "short",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  });
  let place = steps.length - 1;

  function near(moments, wanted) {
    let low = 0;
    let high = moments.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (moments[middle] <= wanted) low = middle; else high = middle;
    }
    return wanted - moments[low] <= moments[high] - wanted ? low : high;
  }

  function words(at) {
    const when = clock ? clock.format(new Date((told.from + at) * 1000)) : `${(at / 3600).toFixed(1)} h`;
    const said = [];
    for (const [name, which, values] of told.lines) {
      const moments = told.at[which];
      if (!moments.length) continue;
      const found = near(moments, at);
      // A hole in the log is told as one: nothing is said from further off than two steps.
      const usual = (moments[moments.length - 1] - moments[0]) / Math.max(moments.length - 1, 1);
      if (values[found] === null || Math.abs(moments[found] - at) > 2 * usual + 1) continue;
      said.push(`${name} ${values[found].toFixed(1)} ${told.unit}`);
    }
    for (const [from, to, name] of told.shades) if (from <= at && at <= to) said.push(name);
    return `${when}: ${said.join(", ") || pageWords.nothing}`;
  }

  function show(wanted) {
    place = Math.min(Math.max(wanted, 0), steps.length - 1);
    const at = steps[place];
    for (const svg of box.querySelectorAll("svg")) {
      const [, left, right] = svg.classList.contains("narrow") ? told.narrow : told.wide;
      const x = left + (at / Math.max(told.to - told.from, 1)) * (right - left);
      let line = svg.querySelector(".cursor");
      if (!line) {
        line = document.createElementNS(svg.namespaceURI, "line");
        line.setAttribute("class", "cursor");
        line.setAttribute("y1", "20");
        line.setAttribute("y2", String(svg.viewBox.baseVal.height - 26));
        svg.append(line);
      }
      line.setAttribute("x1", String(x));
      line.setAttribute("x2", String(x));
    }
    out.textContent = words(at);
    handle.setAttribute("aria-valuenow", String(place));
    handle.setAttribute("aria-valuetext", out.textContent);
  }

  function under(event) {
    const svg = [...box.querySelectorAll("svg")].find((one) => one.getBoundingClientRect().width);
    const [width, left, right] = svg.classList.contains("narrow") ? told.narrow : told.wide;
    const frame = svg.getBoundingClientRect();
    const x = ((event.clientX - frame.left) / frame.width) * width;
    show(near(steps, ((x - left) / (right - left)) * (told.to - told.from)));
  }

  handle.setAttribute("aria-valuenow", String(place));
  handle.setAttribute("aria-valuetext", words(steps[place]));
  handle.addEventListener("pointermove", under);
  handle.addEventListener("pointerdown", under);
  handle.addEventListener("keydown", (event) => {
    const move = {
      ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -12, PageUp: 12,
      Home: -steps.length, End: steps.length,
    }[event.key];
    if (!move) return;
    event.preventDefault();
    show(place + move);
  });
}

document.querySelectorAll(".picture[data-read]").forEach(readable);
