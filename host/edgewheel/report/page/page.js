"use strict";
// The page is whole without this: it adds zoom, read-out and the switch between light and dark.
(() => {
  const root = document.documentElement;
  const NARROW_PX = 560, NARROW_LABEL_PX = 150, NARROW_FONT_PX = 10;

  function remembered() {
    try { return localStorage.getItem("edgewheel-theme") || ""; } catch { return ""; }
  }

  function wear(theme) {
    if (theme) root.dataset.theme = theme; else delete root.dataset.theme;
    try { localStorage.setItem("edgewheel-theme", theme); } catch { /* a file may not remember */ }
  }

  function element(name, attributes, text) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text) made.textContent = text;
    return made;
  }

  function addThemeSwitch() {
    const label = element("label", {}, "Colours ");
    const choice = element("select", { "aria-label": "Colours of the page" });
    for (const [value, text] of [["", "as the system"], ["light", "light"], ["dark", "dark"]]) {
      choice.append(element("option", { value }, text));
    }
    choice.value = root.dataset.theme || "";
    choice.addEventListener("change", () => wear(choice.value));
    label.append(choice);
    document.getElementById("tools").append(label);
  }

  // The fields whose domains the zoom holds, by axis.
  function zoomed(spec) {
    const layer = spec.layer.find((one) => one.params);
    const axes = layer ? layer.params[0].select.encodings : [];
    return axes.map((axis) => [axis, `zoom_${layer.encoding[axis].field}`]);
  }

  function magnify(view, axes, factor) {
    for (const [axis, signal] of axes) {
      const [low, high] = view.scale(axis).domain();
      const middle = (low + high) / 2, half = (high - low) / 2 / factor;
      view.signal(signal, factor ? [middle - half, middle + half] : null);
    }
    view.runAsync();
  }

  function addZoom(figure, view, axes) {
    if (!axes.length) return;
    const tools = element("div", { class: "zoom" });
    const actions = [["+", "Zoom in", 1.6], ["\u2212", "Zoom out", 1 / 1.6], ["Whole", "Show the whole picture", 0]];
    for (const [text, label, factor] of actions) {
      const button = element("button", { type: "button", "aria-label": label }, text);
      button.addEventListener("click", () => magnify(view, axes, factor));
      tools.append(button);
    }
    tools.append(element("span", {}, "drag to move, Shift and wheel to zoom; point at a mark to read it"));
    figure.querySelector(".drawing").after(tools);
  }

  function narrow(config) {
    config.axisY = { labelLimit: NARROW_LABEL_PX, labelFontSize: NARROW_FONT_PX };
    config.legend.columns = 2;
  }

  async function enliven(figure) {
    const spec = JSON.parse(figure.querySelector(".spec").textContent);
    const place = figure.querySelector(".drawing");
    const live = element("div", { class: "live" });
    if (place.clientWidth < NARROW_PX) narrow(spec.config);
    place.append(live);
    try {
      const axes = zoomed(spec);
      const options = {
        actions: false, ast: true, mode: "vega-lite", renderer: "svg",
        tooltip: { theme: "custom", id: "vg-tooltip-element", disableDefaultStyle: true },
      };
      const result = await window.edgewheelDraw(live, { ...spec, width: "container" }, options);
      document.getElementById("vg-tooltip-element")?.classList.add("edgewheel-tip");
      live.querySelector("svg").setAttribute("aria-hidden", "true");
      place.querySelectorAll(":scope > svg").forEach((still) => still.remove());
      addZoom(figure, result.view, axes);
    } catch (error) {
      live.remove();
      console.error(error);
    }
  }

  async function enlivenAll() {
    for (const figure of document.querySelectorAll("figure.picture")) {
      await enliven(figure);
      await new Promise((resolve) => setTimeout(resolve));
    }
    root.dataset.ready = "yes";
  }

  function openOnPaper(open) {
    document.querySelectorAll("details.input").forEach((one) => { one.open = open || one.open; });
  }

  wear(remembered());
  addThemeSwitch();
  window.addEventListener("beforeprint", () => openOnPaper(true));
  enlivenAll();
})();
