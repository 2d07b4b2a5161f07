// On every page: says when the board has fallen silent, and shows new notices as the system's
// own, once a person has allowed it here. What is due, and when, the board has decided.
"use strict";

(() => {
  const EVERY_MS = 4000;
  const LOST_AFTER = 3;
  const KEY = "notices-shown";
  const main = document.getElementById("main");
  const state = document.getElementById("browser-state");
  const allow = document.getElementById("browser-allow");
  const words = document.getElementById("words").dataset; // the page's language
  let tag = null;
  let missed = 0;
  let bar = null;
  let refuses = false;
  let onShow = [];

  const able = () => window.isSecureContext && "Notification" in window;
  const allowed = () => able() && Notification.permission === "granted" && !refuses;

  function standing() {
    if (!window.isSecureContext) return words.plain;
    if (!("Notification" in window)) return words.unable;
    if (refuses) return words.installed;
    if (Notification.permission === "denied") return words.denied;
    if (Notification.permission === "granted") return words.granted;
    return words.possible;
  }

  function tell() {
    if (!state) return;
    state.textContent = standing();
    allow.hidden = !able() || refuses || Notification.permission !== "default";
  }

  function shownBefore() {
    try {
      return JSON.parse(localStorage.getItem(KEY)) || [];
    } catch {
      return [];
    }
  }

  function remember(ids) {
    try {
      localStorage.setItem(KEY, JSON.stringify([...new Set([...ids, ...shownBefore()])].slice(0, 60)));
    } catch {
      // A browser that keeps nothing: the notice's tag still lets the system show it once.
    }
  }

  function show(notices) {
    const before = new Set(shownBefore());
    const fresh = notices.filter((one) => !before.has(one.id)).reverse();
    if (!fresh.length || !allowed()) return;
    remember(fresh.map((one) => one.id));
    for (const one of fresh) {
      try {
        const made = new Notification(one.title, { body: one.body, tag: one.id, icon: "/static/icon.svg" });
        made.onclick = () => { window.focus(); made.close(); };
      } catch {
        refuses = true;
        tell();
      }
    }
  }

  function warn(told) {
    // The bench says both of these itself, in its own place.
    const wanted = document.getElementById("bench") ? "" : told;
    if (!wanted) {
      if (bar) bar.remove();
      bar = null;
    } else {
      if (!bar) {
        bar = document.createElement("p");
        bar.className = "wrong adrift";
        bar.setAttribute("role", "status");
        main.before(bar);
      }
      if (bar.textContent !== wanted) bar.textContent = wanted;
    }
  }

  async function look() {
    try {
      const answer = await fetch("/notices-now", {
        headers: tag ? { "If-None-Match": tag } : {}, cache: "no-store",
      });
      if (answer.status === 200) {
        const found = await answer.json();
        tag = answer.headers.get("ETag");
        warn(found.works.join(" "));
        onShow = found.notices;
        show(onShow);
      } else if (answer.status !== 304) {
        throw new Error(answer.status);
      } else if (missed >= LOST_AFTER) {
        tag = null; // ask again what there is to say
      }
      missed = 0;
    } catch {
      missed += 1;
      const own = document.getElementById("gone"); // this page tells it itself
      if (missed >= LOST_AFTER && !own) warn(words.lost);
    }
    if (!document.getElementById("gone")) main.classList.toggle("stale", missed >= LOST_AFTER);
  }

  if (allow) {
    allow.addEventListener("click", async () => {
      await look();
      const known = onShow.map((one) => one.id); // what was there before the tap is no news
      if ((await Notification.requestPermission()) === "granted") remember(known);
      tell();
    });
  }

  tell();
  look();
  setInterval(look, EVERY_MS);
})();
