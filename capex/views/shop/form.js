// A form whose groups open when they are wanted. It only says what the user did; the kernel
// answers with what then holds. What cannot be read stays in its field, beside the message.

function make(tag, className, parent, text) {
  const node = document.createElement(tag);
  node.className = className;
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

const SOURCES = ["entered", "measured", "quoted", "assumed", "default"];
let count = 0;

function textInput(parent, at, label) {
  const input = make("input", "capex-field-input", parent);
  input.dataset.at = at;
  Object.assign(input, { type: "text", autocomplete: "off", spellcheck: false });
  if (label) input.setAttribute("aria-label", label);
  return input;
}

// Tells a change once, and Escape brings back what holds.
function wire(node, tell, known) {
  let last = null;
  node.addEventListener("focus", () => { last = node.value; });
  node.addEventListener("change", () => { last = node.value; tell(node.value); });
  node.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && last !== null) node.value = known();
    if (event.key === "Enter" && node.tagName === "INPUT") node.dispatchEvent(new Event("change"));
  });
}

function more(row, spec, tell, known) {
  const box = make("div", "capex-form-more", row);
  box.hidden = true;
  const inputs = {};
  for (const [part, words] of [["low", "Low"], ["high", "High"], ["source", "Source"], ["note", "Note"]]) {
    const label = make("label", "", box);
    make("span", "", label, words);
    if (part === "source") {
      inputs[part] = make("select", "capex-field-input", label);
      inputs[part].dataset.at = part;
      for (const each of SOURCES) inputs[part].add(new Option(each, each));
    } else inputs[part] = textInput(label, part);
    wire(inputs[part], (text) => tell(part, text), () => known()[part] ?? "");
  }
  return { box, inputs };
}

function fieldRow(spec, parent, model, tell, spreads) {
  const id = `capex-form-${(count += 1)}-${crypto.randomUUID().slice(0, 8)}`;
  const row = make("div", `capex-field capex-form-field capex-form-${spec.kind}`, parent);
  row.dataset.path = spec.path;
  const label = make("label", "capex-field-label", row, spec.label);
  label.htmlFor = id;
  const line = make("span", "capex-field-line", row);
  const known = () => model.get("values")[spec.path] ?? {};
  const send = (part, text) => tell({ kind: "entered", path: spec.path, part, text });
  let input;
  if (spec.kind === "choice") {
    input = make("select", "capex-field-input", line);
    for (const [value, words] of spec.options) input.add(new Option(words, value));
  } else if (spec.kind === "switch") {
    input = make("input", "capex-field-input", line);
    input.type = "checkbox";
  } else {
    input = textInput(line, "value");
    if (spec.kind === "date") input.type = "date"; // written in the order of the reader's country
  }
  input.dataset.at = "value";
  input.id = id;
  const shown = () => (input.type === "checkbox" ? (input.checked ? "yes" : "no") : input.value);
  const put = (text) => {
    if (input.type === "checkbox") input.checked = text === "yes";
    else input.value = text;
  };
  // What is being typed is nobody's to change.
  input.addEventListener("input", () => { if (input.type === "text") input.dataset.editing = "yes"; });
  input.addEventListener("blur", () => { delete input.dataset.editing; });
  if (input.type === "text") wire(input, (text) => { delete input.dataset.editing; send("value", text); }, () => known().text ?? "");
  else if (input.type === "date") {
    // Half a date is none: what is typed is told once it is whole, an emptied field once it is left.
    const told = () => { if (input.value !== (known().text ?? "")) send("value", input.value); };
    input.addEventListener("change", () => { if (input.value >= "1000") told(); });
    input.addEventListener("blur", told);
  } else input.addEventListener("change", () => send("value", shown()));
  const unit = make("span", "capex-field-unit", line);
  let tag, extra;
  if (spec.kind === "quantity") {
    tag = make("button", "capex-form-tag", line);
    tag.type = "button";
    tag.dataset.at = "tag";
    tag.setAttribute("aria-expanded", "false");
  }
  const ends = make("p", "capex-field-hint capex-form-ends", row);
  const hint = make("p", "capex-field-hint", row, spec.hint);
  hint.id = `${id}-hint`;
  const error = make("p", "capex-field-error", row);
  error.id = `${id}-error`;
  error.setAttribute("role", "alert");
  input.setAttribute("aria-describedby", `${hint.id} ${error.id}`);
  const spread = (open) => { // low, high, source and note stay open over a new shape of the form
    extra ??= more(row, spec, send, known);
    extra.box.hidden = !open;
    tag.setAttribute("aria-expanded", String(open));
    spreads[open ? "add" : "delete"](spec.path);
  };
  tag?.addEventListener("click", () => {
    spread(!extra || extra.box.hidden);
    show();
  });
  if (tag && spreads.has(spec.path)) spread(true);

  function show() {
    const value = known();
    const message = model.get("messages")[spec.path] ?? "";
    const typing = input.type === "date" || input.dataset.editing;
    if (!(typing && input === document.activeElement)) put(value.text ?? "");
    unit.textContent = value.unit ?? "";
    error.textContent = message;
    input.setAttribute("aria-invalid", String(message !== ""));
    if (!tag) return;
    tag.textContent = value.source || "none yet";
    tag.dataset.source = value.source ?? "";
    tag.setAttribute("aria-label", `${spec.label}: ${value.source || "none yet"}${value.date ? ` ${value.date}` : ""}; low, high, source and note`);
    tag.title = [value.date, value.note].filter(Boolean).join(": ");
    ends.textContent = value.low || value.high ? `low ${value.low || "–"}, high ${value.high || "–"}` : "";
    if (!extra) return;
    for (const [part, node] of Object.entries(extra.inputs)) {
      if (node !== document.activeElement || node.tagName === "SELECT") node.value = value[part] ?? "";
    }
  }
  return { show };
}

function actionRow(action, parent, tell) {
  const row = make("span", "capex-form-action", parent);
  let chosen;
  if (action.options.length) {
    chosen = make("select", "capex-field-input", row);
    chosen.setAttribute("aria-label", `${action.label}: which`);
    chosen.dataset.at = `which ${action.do} ${action.path}`;
    for (const [value, words] of action.options) chosen.add(new Option(words, value));
  }
  const button = make("button", "capex-button", row, action.label);
  button.type = "button";
  button.dataset.at = `${action.do} ${action.path}`;
  button.addEventListener("click", () => tell({ kind: "done", do: action.do, path: action.path, text: chosen?.value ?? "" }));
}

function render({ model, el }) {
  const root = make("div", "capex-form", el);
  Object.assign(root, { role: "group", ariaLabel: model.get("label") });
  const open = new Set(); // places of the groups that the user has opened
  const spreads = new Set(); // and of the fields whose low, high, source and note are shown
  let made = model.get("made").count ?? 0; // of the last part that was added and is shown
  let rows = [];
  let marks = [];
  let shape = "";
  let sent = model.get("ticket");
  const tell = (content) => {
    root.setAttribute("aria-busy", "true");
    model.send({ ...content, ticket: (sent += 1) });
  };

  function body(group, parent) {
    for (const line of group.said ?? []) make("p", "capex-form-said", parent, line);
    if (group.note) make("p", "capex-field-hint capex-form-note", parent, group.note);
    const error = make("p", "capex-field-error", parent);
    error.setAttribute("role", "alert");
    marks.push(() => { error.textContent = model.get("messages")[group.path] ?? ""; });
    const fields = make("div", "capex-fields", parent);
    for (const spec of group.fields) rows.push(fieldRow(spec, fields, model, tell, spreads));
    for (const inner of group.groups) panel(inner, parent);
    if (!group.actions.length) return;
    const actions = make("div", "capex-form-actions", parent);
    for (const action of group.actions) actionRow(action, actions, tell);
  }

  function panel(group, parent) {
    const details = make("details", "capex-form-group", parent);
    details.dataset.path = group.path;
    const summary = make("summary", "", details);
    summary.dataset.at = "summary";
    make("span", "", summary, group.title);
    const wrong = make("span", "capex-form-wrong", summary);
    const mark = () => {
      const faults = Object.keys(model.get("messages")).filter((path) => path === group.path || path.startsWith(`${group.path}.`));
      wrong.textContent = faults.length ? `${faults.length} to put right` : "";
    };
    if (group.short) make("span", "capex-form-said", summary, group.short);
    marks.push(mark);
    mark();
    let built = false;
    const build = () => {
      if (built) return;
      built = true;
      const [before, asked] = [rows.length, marks.length];
      body(group, make("div", "capex-form-body", details));
      rows.slice(before).forEach((row) => row.show());
      marks.slice(asked).forEach((each) => each());
    };
    if (open.has(group.path)) {
      details.open = true;
      build();
    }
    details.addEventListener("toggle", () => {
      if (details.open) {
        open.add(group.path);
        build();
      } else open.delete(group.path);
    });
  }

  function place() { // of the focus and what is being typed, so that a new shape takes neither away
    const node = root.contains(document.activeElement) ? document.activeElement : null;
    return node && {
      path: node.closest("[data-path]")?.dataset.path, at: node.dataset.at,
      typed: node.dataset.editing && node.value,
      selected: node.type === "text" && [node.selectionStart, node.selectionEnd],
    };
  }

  const held = (path) => root.querySelector(`[data-path="${CSS.escape(path)}"]`);

  function build(focus) {
    rows = [];
    marks = [];
    root.replaceChildren();
    for (const group of model.get("groups")) (model.get("flat") ? body : panel)(group, root);
    if (!focus?.at) return null;
    const found = focus.path ? held(focus.path) : root;
    const node = found?.querySelector(`[data-at="${CSS.escape(focus.at)}"]`) ?? found?.querySelector("[data-at]");
    if (node && focus.typed !== undefined) Object.assign(node, { value: focus.typed }).dataset.editing = "yes";
    node?.focus({ preventScroll: true });
    return node;
  }

  function reveal(path) { // what was just added: opened, in view, and ready to be filled in
    const way = path.split(".");
    for (let k = 1; k <= way.length; k += 1) {
      const group = held(way.slice(0, k).join("."));
      if (group?.tagName === "DETAILS" && !group.open) {
        group.open = true;
        group.dispatchEvent(new Event("toggle")); // its fields are needed now
      }
    }
    const found = held(path);
    if (!found) return;
    rows.forEach((row) => row.show());
    found.scrollIntoView({ block: "start" });
    (found.querySelector(".capex-field-input") ?? found.querySelector("[data-at]"))?.focus({ preventScroll: true });
  }

  function show() {
    if (model.get("ticket") < sent) return;
    const now = JSON.stringify(model.get("groups"));
    const focus = now !== shape ? place() : null;
    const node = now !== shape ? build(focus) : null;
    shape = now;
    rows.forEach((row) => row.show());
    marks.forEach((mark) => mark());
    if (focus?.selected && node?.type === "text") node.setSelectionRange(...focus.selected);
    const added = model.get("made");
    if ((added.count ?? 0) !== made) {
      made = added.count;
      if (added.path) reveal(added.path);
    }
    root.removeAttribute("aria-busy");
  }
  model.on("change:answer", show);
  show();
}

export default { render };
