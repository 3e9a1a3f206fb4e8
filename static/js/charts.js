// Turns the pictures of charts into charts one can point at, after the page stands.

const dark = window.matchMedia("(prefers-color-scheme: dark)");

/** Show the values under the pointer as text, without markup. */
function tipHandler() {
  let tip = document.querySelector(".chart-tip");
  if (!tip) {
    tip = document.createElement("div");
    tip.className = "chart-tip";
    tip.hidden = true;
    document.body.append(tip);
  }
  return (_handler, event, _item, value) => {
    if (value === null || value === undefined || value === "") {
      tip.hidden = true;
      return;
    }
    const lines = typeof value === "object" ? Object.entries(value).map(([k, v]) => `${k}: ${v}`) : [String(value)];
    tip.replaceChildren(...lines.map((line) => Object.assign(document.createElement("div"), { textContent: line })));
    tip.hidden = false;
    // Positions through the style object are allowed under the strict policy; style attributes are not.
    tip.style.left = `${Math.max(4, Math.min(event.clientX + 14, window.innerWidth - tip.offsetWidth - 8))}px`;
    tip.style.top = `${Math.max(4, event.clientY - tip.offsetHeight - 10)}px`;
  };
}

let bundle = null;

/** Put the picture back. */
function still(plot) {
  plot.querySelector(".live-chart")?.remove();
  plot.querySelector("picture").classList.remove("hidden-visually");
  delete plot.dataset.chartLive;
}

async function enliven(plot) {
  const picture = plot.querySelector("picture");
  try {
    bundle ??= import(plot.dataset.chartBundle);
    const [{ vegaEmbed }, answer] = await Promise.all([
      bundle,
      fetch(`${plot.dataset.chart}?theme=${dark.matches ? "dark" : "light"}`),
    ]);
    if (!answer.ok) return;
    const spec = await answer.json();
    const room = Math.max(plot.clientWidth - 20, 260);
    spec.width = "container";
    spec.autosize = { type: "fit", contains: "padding" };
    const live = document.createElement("div");
    live.className = "live-chart";
    live.style.width = `${room}px`;
    plot.append(live);
    await vegaEmbed(live, spec, {
      mode: "vega-lite", ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: tipHandler(),
    });
    // The picture's words stay for those who cannot see the chart.
    live.querySelector("svg")?.setAttribute("aria-hidden", "true");
    picture.classList.add("hidden-visually");
    plot.dataset.chartLive = "yes";
  } catch (error) {
    // The picture stands; nothing is lost.
    still(plot);
    console.warn("The chart stays a picture:", error);
  }
}

dark.addEventListener("change", () => {
  for (const plot of document.querySelectorAll("[data-chart-live]")) {
    still(plot);
    enliven(plot);
  }
});

const plots = document.querySelectorAll("[data-chart]");
if (plots.length && "IntersectionObserver" in window) {
  const watch = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      watch.unobserve(entry.target);
      enliven(entry.target);
    }
  }, { rootMargin: "200px" });
  const begin = () => plots.forEach((plot) => watch.observe(plot));
  if (document.readyState === "complete") setTimeout(begin, 50);
  else window.addEventListener("load", () => setTimeout(begin, 50));
}
