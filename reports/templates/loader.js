"use strict";
(function () {
  const dark = JSON.parse(document.getElementById("dark-colours").textContent);
  const plots = Array.from(document.querySelectorAll(".plot"));
  const darkScheme = window.matchMedia("(prefers-color-scheme: dark)");
  const printMedia = window.matchMedia("print");
  const PRINT_WIDTH = 650;
  const NARROW = 480;
  const NARROW_TEXT = 11;
  const WIDEST_LETTER = 0.64;
  let printing = false;
  let opened = [];

  function darkened(value) {
    if (dark[value]) return dark[value];
    const parts = /^rgba\((\d+),(\d+),(\d+),([\d.]+)\)$/.exec(value);
    if (!parts) return value;
    const hex = "#" + parts.slice(1, 4).map(function (part) {
      return Number(part).toString(16).padStart(2, "0");
    }).join("");
    if (!dark[hex]) return value;
    const rgb = [1, 3, 5].map(function (start) { return parseInt(dark[hex].slice(start, start + 2), 16); });
    return "rgba(" + rgb.join(",") + "," + parts[4] + ")";
  }

  function recoloured(part, key) {
    if (Array.isArray(part)) return part.map(function (item) { return recoloured(item, key); });
    if (part && typeof part === "object") {
      return Object.fromEntries(Object.entries(part).map(function (entry) {
        return [entry[0], recoloured(entry[1], entry[0])];
      }));
    }
    return typeof part === "string" && /color$/i.test(key) ? darkened(part) : part;
  }

  function narrowed(layout) {
    const labels = layout.annotations || [];
    const ends = labels.filter(function (label) { return label.name === "end"; });
    ends.forEach(function (label) {
      label.xanchor = "right";
      label.yanchor = "bottom";
      label.xshift = 0;
    });
    if (ends.length) layout.margin.r = 12;
    const limits = labels.filter(function (label) { return label.name === "limit"; });
    limits.forEach(function (label) {
      label.text = label.text.replace(" ", "<br>");
      label.align = "left";
    });
    if (limits.length) layout.margin.r = 52;
    labels.forEach(function (label) { label.font.size = Math.min(label.font.size, NARROW_TEXT); });
    const rows = labels.filter(function (label) { return label.name === "row"; });
    if (rows.some(function (label) { return label.text.length * NARROW_TEXT * WIDEST_LETTER > layout.width; })) {
      layout.height = Math.round(layout.height * 1.35);
      rows.forEach(function (label) {
        label.text = label.text.replace(" · ", "<br>");
        label.align = "left";
        label.yshift = 19;
      });
    }
    layout.annotations = labels.filter(function (label) { return label.name !== "wide"; });
    const places = layout.xaxis.tickvals || [];
    if (places.length > 8) {
      const kept = places.map(function (_, at) { return (places.length - 1 - at) % 4 === 0; });
      layout.xaxis.tickvals = places.filter(function (_, at) { return kept[at]; });
      layout.xaxis.ticktext = layout.xaxis.ticktext.filter(function (_, at) { return kept[at]; });
    }
  }

  function draw(plot) {
    const figure = JSON.parse(document.getElementById(plot.id + "-data").textContent);
    const shown = darkScheme.matches && !printing ? recoloured(figure, "") : figure;
    const many = plot.closest(".plots").classList.contains("many");
    const width = printing ? (many ? PRINT_WIDTH / 3 - 12 : PRINT_WIDTH) : plot.clientWidth;
    const layout = Object.assign({}, shown.layout, {
      width: Math.max(width, 160), height: Number(plot.dataset.height), autosize: false
    });
    if (layout.width < NARROW) narrowed(layout);
    window.Plotly.react(plot, shown.data, layout, {
      displayModeBar: false, displaylogo: false, responsive: false, showTips: false, doubleClick: false
    });
  }

  function drawAll() { plots.forEach(draw); }

  // A table wider than the window scrolls inside its own frame, so the keyboard must be able to reach that frame.
  function reachable() {
    document.querySelectorAll(".scroll").forEach(function (frame) {
      if (frame.scrollWidth <= frame.clientWidth) {
        frame.removeAttribute("tabindex");
        frame.removeAttribute("role");
        frame.removeAttribute("aria-label");
        return;
      }
      frame.tabIndex = 0;
      frame.setAttribute("role", "region");
      frame.setAttribute("aria-label", frame.querySelector("caption").textContent);
    });
  }

  function toPaper() {
    if (printing) return;
    printing = true;
    opened = Array.from(document.querySelectorAll("details:not([open])"));
    opened.forEach(function (item) { item.open = true; });
    drawAll();
  }

  function toScreen() {
    if (!printing) return;
    printing = false;
    opened.forEach(function (item) { item.open = false; });
    drawAll();
  }

  function watch() {
    darkScheme.addEventListener("change", drawAll);
    window.addEventListener("beforeprint", toPaper);
    window.addEventListener("afterprint", toScreen);
    printMedia.addEventListener("change", function (event) { (event.matches ? toPaper : toScreen)(); });
    let width = window.innerWidth;
    let waiting = 0;
    window.addEventListener("resize", function () {
      if (window.innerWidth === width || printing) return;
      width = window.innerWidth;
      clearTimeout(waiting);
      waiting = setTimeout(function () { drawAll(); reachable(); }, 120);
    });
  }

  async function start() {
    if (!plots.length) return;
    if (typeof DecompressionStream === "undefined") {
      plots.forEach(function (plot) {
        const told = document.createElement("p");
        told.className = "undrawn";
        told.textContent = "This browser is too old to draw; the table below holds the numbers.";
        plot.append(told);
      });
      return;
    }
    const packed = document.getElementById("drawing-library").textContent.trim();
    const bytes = Uint8Array.from(atob(packed), function (letter) { return letter.charCodeAt(0); });
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const library = document.createElement("script");
    library.textContent = await new Response(stream).text();
    document.head.append(library);
    if (!window.Plotly) return;
    watch();
    if (printMedia.matches) toPaper(); else drawAll();
    document.documentElement.dataset.drawn = "yes";
  }

  reachable();
  document.addEventListener("toggle", reachable, true);
  start();
})();
