// One plotly chart drawn in place. Always draws the newest figure, never a queue of old ones.

// The page's template loads the shared script while the kernel starts. Without that template
// (plain Voilà, a notebook editor) the kernel hands the same file over once for the page.
function loadPlotly(model) {
  window.capexPlotly ??= new Promise((resolve, reject) => {
    const settle = () => (window.Plotly ? resolve(window.Plotly) : reject(new Error("no Plotly")));
    const tag = document.querySelector("script[data-plotly]");
    if (window.Plotly) return settle();
    if (tag) {
      tag.addEventListener("load", settle);
      tag.addEventListener("error", () => reject(new Error("chart script not served")));
      return;
    }
    model.on("msg:custom", (message, buffers) => {
      if (message.kind !== "script" || window.Plotly) return;
      const script = document.createElement("script");
      script.src = URL.createObjectURL(new Blob([buffers[0]], { type: "text/javascript" }));
      script.onload = settle;
      script.onerror = () => reject(new Error("chart script not run"));
      document.head.append(script);
    });
    model.send({ kind: "script" });
  });
  return window.capexPlotly;
}

// Everything a figure leaves open is filled from the page's colours, so that one figure serves
// the light page, the dark page and paper.
function schemeTemplate(element, automargin) {
  const style = getComputedStyle(element);
  const token = (name, fallback) => style.getPropertyValue(name).trim() || fallback;
  const ink = token("--capex-ink", "#1a2129");
  const muted = token("--capex-muted", "#4d5863");
  const line = token("--capex-line", "#c9cfd4");
  const surface = token("--capex-surface", "#ffffff");
  const axis = {
    gridcolor: line,
    zerolinecolor: muted,
    zerolinewidth: 1.5,
    linecolor: muted,
    tickcolor: muted,
    tickfont: { color: muted, size: 12 },
    title: { font: { color: ink, size: 13 }, standoff: 8 },
    automargin,
    fixedrange: true,
    ticklabeloverflow: "allow", // measuring every label costs more than a rare overlap
  };
  return {
    layout: {
      font: { family: style.fontFamily, size: 13, color: ink },
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      xaxis: { ...axis, showgrid: false, zeroline: false },
      yaxis: axis,
      hoverlabel: { bgcolor: surface, bordercolor: muted, font: { color: ink } },
      colorscale: { sequential: [[0, surface], [1, token("--capex-accent", "#0f5c6e")]] },
      margin: { l: 8, r: 8, t: 8, b: 8 },
      dragmode: false,
      annotationdefaults: { font: { color: ink }, arrowcolor: muted },
      shapedefaults: { line: { color: muted } },
    },
  };
}

function element(tag, className, parent) {
  const node = document.createElement(tag);
  node.className = className;
  parent.append(node);
  return node;
}

function fillTable(holder, table, caption) {
  const grid = document.createElement("table");
  const words = document.createElement("span"); // stays in sight when the columns scroll
  words.textContent = caption;
  grid.createCaption().append(words);
  const head = grid.createTHead().insertRow();
  // a column of sentences begins at the left: `ChartTable.wordy`
  const wordy = table.columns.map((_, index) =>
    index > 0 && table.rows.some((row) => row[index].trim().split(/\s+/).length >= 5));
  table.columns.forEach((column, index) => {
    const cell = document.createElement("th");
    cell.scope = "col";
    cell.textContent = column;
    cell.classList.toggle("capex-words", wordy[index]);
    head.append(cell);
  });
  const body = grid.createTBody();
  for (const values of table.rows) {
    const row = body.insertRow();
    values.forEach((value, index) => {
      const cell = document.createElement(index ? "td" : "th");
      if (!index) cell.scope = "row";
      cell.textContent = value;
      cell.classList.toggle("capex-words", wordy[index]);
      row.append(cell);
    });
  }
  holder.replaceChildren(grid);
}

// plotly's own legend is redrawn with every figure and takes a third of the time.
const PATTERNS = {
  "/": "M0 6L6 0", "\\": "M0 0L6 6", x: "M0 6L6 0M0 0L6 6", "-": "M0 3H6", "|": "M3 0V6",
  "+": "M0 3H6M3 0V6", ".": "M2 3h2",
};
const DASHES = {
  dot: "2 3", dash: "7 4", dashdot: "7 3 2 3", longdash: "11 4", longdashdot: "11 3 2 3",
};

const SYMBOLS = {
  circle: "M9 6a4 4 0 1 0 8 0a4 4 0 1 0-8 0", square: "M9 2h8v8H9z", diamond: "M13 1l5 5-5 5-5-5z",
  "circle-open": "M9 6a4 4 0 1 0 8 0a4 4 0 1 0-8 0M11 6a2 2 0 1 0 4 0a2 2 0 1 0-4 0",
  "triangle-up": "M13 1l5 9H8z", cross: "M11.5 1.5h3v3h3v3h-3v3h-3v-3h-3v-3h3z",
  "line-ns-open": "M12 0h2v12h-2z",
};

function swatch(trace) {
  const svg = (tag, attributes, parent) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    parent?.append(node);
    return node;
  };
  const picture = svg("svg", { width: 26, height: 12, viewBox: "0 0 26 12", "aria-hidden": "true" });
  if (trace.line) {
    const { color, dash } = trace.line;
    svg("path", { d: "M0 6H26", stroke: color, "stroke-width": 2.5, "stroke-dasharray": DASHES[dash] ?? "" }, picture);
    return picture;
  }
  const marker = trace.marker ?? {};
  if (trace.mode === "markers" && SYMBOLS[marker.symbol]) {
    svg("path", { d: SYMBOLS[marker.symbol], fill: marker.color, "fill-rule": "evenodd" }, picture);
    return picture;
  }
  svg("rect", { x: 6, width: 14, height: 12, fill: marker.color ?? "currentColor" }, picture);
  const lines = PATTERNS[marker.pattern?.shape];
  for (const x of lines ? [7, 13] : []) {
    for (const y of [0, 6]) svg("path", { d: lines, transform: `translate(${x} ${y})`, stroke: "#fff", "stroke-opacity": 0.8, fill: "none" }, picture);
  }
  return picture;
}

// Figures carry names that plotly would read tags in; here they are plain text again.
const plain = (name) =>
  name.replaceAll("&lt;", "<").replaceAll("&gt;", ">").replaceAll("&amp;", "&");

// A figure whose colours are not its traces' brings its key itself.
function fillKey(holder, { data, layout }) {
  const own = layout.meta?.key?.map(({ name, color }) => ({ name, marker: { color } }));
  const named = own ?? data.filter((trace) => trace.name && trace.showlegend !== false);
  const content = JSON.stringify(named.map(({ name, line, marker }) => [name, line, marker]));
  if (holder.dataset.content === content) return;
  holder.dataset.content = content;
  holder.replaceChildren(
    ...(named.length > 1 ? named : []).map((trace) => {
      const item = document.createElement("li");
      item.append(swatch(trace), plain(trace.name));
      return item;
    }),
  );
}

function chooser(model) {
  const label = document.createElement("label");
  label.className = "capex-chart-choice";
  label.textContent = model.get("choices_label");
  const select = document.createElement("select");
  const choose = () => {
    select.value = model.get("choice");
  };
  const offer = () => {
    const options = model.get("choices").map(([value, words]) => new Option(words, value));
    select.replaceChildren(...options);
    choose();
  };
  model.on("change:choices", offer);
  model.on("change:choice", choose);
  offer();
  select.addEventListener("change", () => {
    model.set("choice", select.value);
    model.save_changes();
  });
  label.append(select);
  return label;
}

// The charts of one change come in messages of their own, a few milliseconds apart. Those in sight
// are drawn in one go, which costs the page one layout and one painting instead of one each; words
// come after all of them, as a changed text lays the page out again. Those out of sight follow one
// by one, so that words, keys and newer changes need not wait for them. Every chart runs a copy of
// this file, so what they wait in is the page's.
const PATIENCE = 60; // ms for those of the same change
const NEAR = "150px"; // beyond the edge of the window
const page = (window.capexCharts ??= { waiting: new Set(), later: new Set() });

function drawWaiting() {
  clearTimeout(page.flushing);
  const charts = [...page.waiting];
  page.waiting.clear();
  for (const each of charts) page.later.add(each);
  const near = charts.filter((each) => each.near);
  for (const each of near) {
    page.later.delete(each);
    each.draw();
  }
  drawLater();
  for (const each of near) each.words();
}

function drawLater() {
  if (page.drawingLater || page.later.size === 0) return;
  page.drawingLater = true;
  setTimeout(() => {
    page.drawingLater = false;
    const [next] = page.later;
    page.later.delete(next);
    next?.draw();
    next?.words();
    drawLater();
  });
}

function drawTogether(chart, count) {
  page.waiting.add(chart);
  clearTimeout(page.flushing);
  page.flushing = setTimeout(drawWaiting, page.waiting.size < count ? PATIENCE : 0);
}

// On a phone the title of an axis is broken into lines, so that its unit is never beyond the edge.
const LETTER = 7.2; // px, on average
function brokenTitle(axis, width) {
  const most = Math.floor((width - 130) / LETTER);
  const text = axis?.title?.text;
  if (!text || width > 480 || text.length <= most || text.includes("<br>")) return axis;
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = `${lines.at(-1)} ${word}`.trim();
    if (longer.length > most && lines.at(-1)) lines.push(word);
    else lines[lines.length - 1] = longer;
  }
  return { ...axis, title: { ...axis.title, text: lines.join("<br>") } };
}

// px: what fits the text width of A4 and of US letter.
const PAPER = { width: 660 };

function render({ model, el }) {
  const root = element("figure", "capex-chart", el);
  const heading = element("figcaption", "capex-chart-title", root);
  if (model.get("choices").length) root.append(chooser(model));
  const key = element("ul", "capex-chart-key", root);
  const plot = element("div", "capex-chart-plot", root);
  const reading = element("p", "capex-chart-reading", root);
  const details = element("details", "capex-chart-figures", root);
  element("summary", "", details).textContent = "Show the figures";
  const holder = element("div", "capex-chart-table", details);
  holder.tabIndex = 0;
  holder.role = "region";
  plot.role = "img";
  root.dataset.drawn = 0;

  let Plotly;
  let busy = false;
  let dirty = false;
  let alive = true;
  let drawnFigure;
  let width = 0; // kept by the observer: asking the element would lay the page out again

  function words() {
    const title = model.get("title");
    heading.textContent = title;
    reading.textContent = model.get("reading");
    plot.setAttribute("aria-label", `${title}. ${model.get("reading")}`);
    holder.setAttribute("aria-label", `Figures: ${title}`);
    details.hidden = model.get("table").rows.length === 0;
    if (details.open) fillTable(holder, model.get("table"), title);
  }

  // A chart that is not on screen yet, or in a closed part of the page, waits until it has a width.
  const drawable = () => alive && !onPaper && model.get("version") > 0 && width > 0;
  let isDrawn = false;
  let onPaper = false;

  let templates; // of the scheme that the page is in: not measuring its margins, and measuring
  let room; // margins as last measured; measuring draws a chart twice, so it waits for a rest
  let resting;

  async function react(paper, measured = paper || room === undefined) {
    const figure = JSON.parse(model.get("figure"));
    const size = { height: model.get("height"), ...(paper ? PAPER : {}) };
    plot.style.height = `${size.height}px`;
    fillKey(key, figure);
    templates ??= [schemeTemplate(root, false), schemeTemplate(root, true)];
    const layout = {
      ...figure.layout, xaxis: brokenTitle(figure.layout?.xaxis, paper ? PAPER.width : width),
      showlegend: false, width, ...size, template: templates[Number(measured)],
    };
    if (!measured) layout.margin = room;
    await Plotly.react(plot, figure.data, layout, { displayModeBar: false });
    if (measured && !paper) {
      const { l, r, t, b } = plot._fullLayout._size;
      room = { l, r, t, b, autoexpand: false };
    }
  }

  // Labels may have grown while the controls moved: once they rest, margins are measured again.
  function measureAtRest() {
    clearTimeout(resting);
    resting = setTimeout(() => {
      if (isDrawn && drawable() && !busy) react(false, true);
    }, 700);
  }

  async function draw() {
    dirty = true;
    if (busy || !drawable()) return;
    busy = true;
    try {
      Plotly ??= await loadPlotly(model);
      while (dirty && drawable()) {
        dirty = false;
        const version = model.get("version");
        if (!isDrawn) plot.replaceChildren();
        // The same figure in the same colours stays as it is.
        if (model.get("figure") !== drawnFigure) {
          drawnFigure = model.get("figure");
          const first = room === undefined;
          await react(false);
          isDrawn = true;
          if (!first) measureAtRest();
        }
        root.dataset.version = version;
        root.dataset.drawn = Number(root.dataset.drawn) + 1;
        root.dispatchEvent(new CustomEvent("capex:drawn", { bubbles: true, detail: { version } }));
      }
    } catch (error) {
      plot.textContent = "This chart could not be drawn.";
      console.error(error);
    } finally {
      busy = false;
    }
  }

  const redraw = () => {
    drawnFigure = templates = room = undefined;
    draw();
  };
  const resized = new ResizeObserver(([entry]) => {
    const now = Math.floor(entry.contentRect.width);
    if (now === width || onPaper) return;
    width = now;
    redraw();
  });
  let opened = false; // on paper a loan is its months: their table is printed
  const toPaper = () => {
    onPaper = true;
    opened = !details.open && Boolean(root.closest(".capex-section")?.querySelector("#loan"));
    if (opened) details.open = true;
    words();
    templates = undefined;
    if (isDrawn) react(true);
  };
  const fromPaper = () => {
    onPaper = false;
    if (opened) details.open = false;
    redraw();
  };

  plot.style.height = `${model.get("height")}px`;
  // plotly asks for both at every drawing; the element's own answer would lay the page out again.
  Object.defineProperties(plot, {
    clientWidth: { get: () => width },
    clientHeight: { get: () => Number.parseFloat(plot.style.height) },
  });
  words();
  draw();
  const chart = { draw, words, near: false };
  const sighted = new IntersectionObserver((entries) => {
    chart.near = entries.at(-1).isIntersecting;
  }, { rootMargin: NEAR });
  const changed = () => {
    if (isDrawn && !document.hidden) return drawTogether(chart, model.get("together"));
    words();
    draw();
  };
  model.on("change:version", changed);
  details.addEventListener("toggle", words);
  resized.observe(plot);
  sighted.observe(root);
  window.addEventListener("capex:scheme", redraw);
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", fromPaper);

  return () => {
    alive = false;
    clearTimeout(resting);
    model.off("change:version", changed);
    page.waiting.delete(chart);
    page.later.delete(chart);
    resized.disconnect();
    sighted.disconnect();
    window.removeEventListener("capex:scheme", redraw);
    window.removeEventListener("beforeprint", toPaper);
    window.removeEventListener("afterprint", fromPaper);
    if (Plotly) Plotly.purge(plot);
  };
}

export default { render };
