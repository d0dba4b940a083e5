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
  const busy = make("p", "capex-field-hint", foot);
  busy.setAttribute("role", "status");
  let sent = model.get("ticket"); // entries queue up while the kernel is busy: the last one's answer holds
  let shape;
  let rows = []; // of each row its fields and its line of errors
  const editing = new Set(); // fields between their first key and their end

  const inputAt = (row, column) => rows[row]?.inputs[column];
  const read = (node) => (node.type === "checkbox" ? (node.checked ? "yes" : "no") : node.value);
  const ask = (content) => {
    root.setAttribute("aria-busy", "true");
    busy.textContent = "Working it out…";
    model.send({ ...content, ticket: (sent += 1) });
  };
  const tell = (cells) => ask({ kind: "cells", cells });

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
    node.addEventListener("input", () => editing.add(node));
    node.addEventListener("change", () => {
      editing.delete(node);
      tell([[row, place, read(node)]]);
    });
    node.addEventListener("blur", () => {
      if (editing.delete(node)) show(); // typed back to what it was: no change
    });
    return node;
  }

  function addRow(body, columns, head, row) {
    const line = body.insertRow();
    make("th", "", line, head).scope = "row";
    const inputs = columns.map((column, place) => {
      const input = cellInput(column, row, place, head);
      line.insertCell().append(input);
      return input;
    });
    const error = body.insertRow();
    error.className = "capex-grid-error";
    error.hidden = true;
    const place = error.insertCell();
    place.colSpan = columns.length + 1;
    place.setAttribute("role", "alert");
    rows.push({ head, inputs, error });
  }

  // Rows that stay are kept: a table of some hundred rows takes a second to build.
  function build() {
    const columns = model.get("columns");
    const heads = model.get("heads");
    const now = JSON.stringify(columns);
    const stays = now === shape && rows.length <= heads.length && rows.every(({ head }, place) => head === heads[place]);
    if (!stays) {
      shape = now;
      rows = [];
      editing.clear();
      table.replaceChildren();
      table.createCaption().textContent = model.get("label");
      const top = table.createTHead().insertRow();
      make("th", "", top, model.get("corner")).scope = "col";
      for (const column of columns) make("th", "", top, column.label).scope = "col";
      table.createTBody();
    }
    heads.slice(rows.length).forEach((head) => addRow(table.tBodies[0], columns, head, rows.length));
  }

  function show() {
    if (model.get("ticket") < sent) return;
    build();
    const messages = model.get("messages");
    model.get("cells").forEach((values, row) => {
      if (!rows[row]) return;
      const wrong = [];
      values.forEach((value, column) => {
        const node = inputAt(row, column);
        if (!node) return;
        const message = messages[`${row}.${column}`] ?? "";
        if (message) wrong.push(message);
        node.setAttribute("aria-invalid", String(message !== ""));
        if (editing.has(node)) return;
        if (node.type === "checkbox") node.checked = value === "yes";
        else if (node.value !== value) node.value = value;
      });
      const whole = messages[`${row}`];
      if (whole) wrong.push(whole);
      rows[row].error.hidden = wrong.length === 0;
      rows[row].error.firstChild.textContent = wrong.join("; ");
    });
    root.removeAttribute("aria-busy");
    busy.textContent = "";
  }

  add.addEventListener("click", () => ask({ kind: "add" }));
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
  model.on("change:answer", show);
  show();
}

export default { render };
