// Shows new readings without loading the page anew. Without this script everything works; one loads it by hand.
"use strict";
(() => {
  const main = document.querySelector("main[data-live]");
  if (!main || !window.EventSource) return;
  let due = false, busy = false;

  const changed = (field) => field.tagName === "SELECT"
    ? field.selectedIndex !== Math.max([...field.options].findIndex((o) => o.defaultSelected), 0)
    : field.type !== "hidden" && field.value !== field.defaultValue;
  const typing = () => {
    const at = document.activeElement;
    if (main.querySelector("[data-kept]")) return true; // refused, and not sent again yet
    if (at && main.contains(at) && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName)) return true;
    return [...main.querySelectorAll("input, select, textarea")].some(changed); // typed, and not sent yet
  };

  const renew = async () => {
    if (busy || document.hidden || typing()) { due = true; return; }
    busy = true; due = false;
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      if (answer.ok) {
        const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
        const open = [...main.querySelectorAll("details[id][open]")].map((d) => d.id);
        const at = main.contains(document.activeElement) ? document.activeElement.closest("[id]")?.id : null;
        const charts = new Map([...main.querySelectorAll("figure[data-chart]")].map((f) => [f.dataset.chart, f]));
        fresh.querySelectorAll("main figure[data-chart]").forEach((f) => {
          if (charts.has(f.dataset.chart)) f.replaceWith(charts.get(f.dataset.chart)); // drawn already
        });
        main.dataset.live = fresh.querySelector("main").dataset.live;
        main.replaceChildren(...fresh.querySelector("main").childNodes);
        open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
        if (at) document.getElementById(at)?.focus();
        const clock = fresh.querySelector(".clock"), shown = document.querySelector(".clock");
        if (clock && shown) shown.replaceWith(clock);
        document.dispatchEvent(new Event("renewed"));
      }
    } catch { due = true; } finally { busy = false; }
  };

  const events = new EventSource("/live");
  events.addEventListener("changed", (event) => { if (event.data !== main.dataset.live) setTimeout(renew, 300); });
  document.addEventListener("visibilitychange", () => { if (due) renew(); });
  main.addEventListener("focusout", () => { if (due) setTimeout(renew, 500); });
  window.addEventListener("pagehide", () => events.close());
})();
