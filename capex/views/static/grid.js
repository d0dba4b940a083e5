// A table of native fields: Tab and arrows move, a spreadsheet's cells can be pasted. Nothing is
// dropped: what cannot be read stays in its cell, beside the kernel's message.

function make(tag, className, parent, text) {
  const node = document.createElement(tag);
  node.className = className;
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

const LARGEST = 400; // rows that a paste may bring

function render({ model, el }) {
  const root = make("div", `capex-grid-holder${model.get("growing") ? " capex-grid-growing" : ""}`, el);
  const holder = make("div", "capex-grid-scroll", root);
  Object.assign(holder, { role: "region", ariaLabel: model.get("label") });
  const table = make("table", "capex-grid-table", holder);
  const foot = make("div", "capex-grid-foot", root);
  const add = make("button", "capex-button", foot, "Add a row");
  add.type = "button";
  add.hidden = !model.get("growing");
  const said = make("p", "capex-field-hint", foot, model.get("growing") ? "Cells copied from a spreadsheet can be pasted into any cell." : "");
  let shape = "";

  const inputAt = (row, column) => table.querySelector(`[data-row="${row}"][data-column="${column}"]`);
  const read = (node) => (node.type === "checkbox" ? (node.checked ? "yes" : "no") : node.value);
  const tell = (cells) => model.send({ kind: "cells", cells });

  function cellInput(column, row, place, head) {
    const node = document.createElement(column.options.length ? "select" : "input");
    if (column.options.length) for (const [value, words] of column.options) node.add(new Option(words, value));
    else node.type = column.check ? "checkbox" : "text";
    if (node.type === "text") Object.assign(node, { autocomplete: "off", inputMode: column.numeric ? "decimal" : "text" });
    node.dataset.row = row;
    node.dataset.column = place;
    node.className = `capex-grid-input${column.numeric ? " capex-grid-number" : ""}`;
    node.style.setProperty("--width", column.width);
    node.setAttribute("aria-label", `${column.label}, ${head}`);
    node.addEventListener("change", () => tell([[row, place, read(node)]]));
    return node;
  }

  function build() {
    const columns = model.get("columns");
    const heads = model.get("heads");
    table.replaceChildren();
    table.createCaption().textContent = model.get("label");
    const top = table.createTHead().insertRow();
    make("th", "", top, model.get("corner")).scope = "col";
    for (const column of columns) make("th", "", top, column.label).scope = "col";
    const body = table.createTBody();
    heads.forEach((head, row) => {
      const line = body.insertRow();
      make("th", "", line, head).scope = "row";
      columns.forEach((column, place) => {
        const cell = line.insertCell();
        cell.append(cellInput(column, row, place, head));
      });
      const error = body.insertRow();
      error.className = "capex-grid-error";
      error.hidden = true;
      const place = error.insertCell();
      place.colSpan = columns.length + 1;
      place.setAttribute("role", "alert");
    });
  }

  function show() {
    const now = JSON.stringify([model.get("columns"), model.get("heads")]);
    if (now !== shape) {
      shape = now;
      build();
    }
    const messages = model.get("messages");
    const errors = table.querySelectorAll(".capex-grid-error");
    model.get("cells").forEach((values, row) => {
      const wrong = [];
      values.forEach((value, column) => {
        const node = inputAt(row, column);
        if (!node) return;
        const message = messages[`${row}.${column}`] ?? "";
        if (message) wrong.push(message);
        node.setAttribute("aria-invalid", String(message !== ""));
        if (node === document.activeElement && node.type === "text" && node.value !== value && message) return;
        if (node.type === "checkbox") node.checked = value === "yes";
        else if (node.value !== value) node.value = value;
      });
      const whole = messages[`${row}`];
      if (whole) wrong.push(whole);
      if (errors[row]) {
        errors[row].hidden = wrong.length === 0;
        errors[row].firstChild.textContent = wrong.join("; ");
      }
    });
  }

  add.addEventListener("click", () => model.send({ kind: "add" }));
  table.addEventListener("keydown", (event) => {
    const node = event.target.closest(".capex-grid-input");
    const step = { ArrowDown: 1, ArrowUp: -1, Enter: 1 }[event.key];
    if (!node || !step || node.tagName === "SELECT") return;
    const next = inputAt(Number(node.dataset.row) + step, node.dataset.column);
    if (!next) return;
    event.preventDefault();
    next.focus();
    next.select?.();
  });
  table.addEventListener("paste", (event) => {
    const node = event.target.closest(".capex-grid-input");
    const text = event.clipboardData.getData("text/plain").replace(/\r/g, "").replace(/\n$/, "");
    if (!node || !/[\t\n]/.test(text) || !model.get("growing")) return;
    event.preventDefault();
    const lines = text.split("\n");
    if (lines.length > LARGEST) {
      said.textContent = `At most ${LARGEST} rows can be pasted at once; these are ${lines.length}.`;
      return;
    }
    const [row, column] = [Number(node.dataset.row), Number(node.dataset.column)];
    tell(lines.flatMap((line, i) => line.split("\t").map((value, k) => [row + i, column + k, value.trim()])));
  });
  model.on("change:cells change:messages change:columns change:heads", show);
  show();
}

export default { render };
