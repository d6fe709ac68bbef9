// Puts a chart with tooltips and zoom in the place of each picture once it comes into view.
"use strict";
(() => {
  const options = { ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: { disableDefaultStyle: true } };

  const draw = async (figure) => {
    const into = figure.querySelector(".drawn");
    try {
      const phone = matchMedia("(max-width: 42rem)").matches; // as the picture chooses
      const answer = await fetch(phone ? figure.dataset.narrow : figure.dataset.chart, { credentials: "same-origin" });
      if (!answer.ok) return;
      const spec = await answer.json();
      if (spec.why) return; // nothing to draw yet: the picture says why
      const holder = document.createElement("div");
      holder.setAttribute("role", "img");
      holder.setAttribute("tabindex", "0");
      holder.setAttribute("aria-label", into.querySelector("img")?.alt || "");
      holder.className = "drawn";
      await vegaEmbed(holder, spec, options);
      holder.querySelector("svg")?.setAttribute("aria-hidden", "true"); // the holder says what it shows
      into.replaceWith(holder);
    } catch { /* the picture stays */ }
  };

  const watch = new IntersectionObserver((seen) => {
    for (const one of seen) if (one.isIntersecting) { watch.unobserve(one.target); draw(one.target); }
  }, { rootMargin: "200px" });
  const begin = () => document.querySelectorAll("figure[data-chart]").forEach((figure) => {
    if (figure.querySelector("img")) watch.observe(figure);
  });

  begin();
  document.addEventListener("renewed", begin);
})();
