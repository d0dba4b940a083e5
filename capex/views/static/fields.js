// Native fields that only say what the user did; the kernel answers with what then holds.

function make(tag, className, parent, text) {
  const node = document.createElement(tag);
  node.className = className;
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

const INPUTS = {
  choice(spec) {
    const select = document.createElement("select");
    const fill = (options) => {
      select.replaceChildren(...options.map(([value, words]) => new Option(words, value)));
    };
    fill(spec.options);
    return { node: select, set: (value) => { select.value = value; }, get: () => select.value, fill };
  },
  text(spec) {
    const input = document.createElement("input");
    Object.assign(input, { type: "text", inputMode: spec.numeric ? "decimal" : "text", autocomplete: "off" });
    return { node: input, set: (value) => { input.value = value; }, get: () => input.value };
  },
  switch() {
    const input = document.createElement("input");
    input.type = "checkbox";
    return { node: input, set: (value) => { input.checked = value === "yes"; }, get: () => (input.checked ? "yes" : "no") };
  },
};

function fieldRow(model, key, parent, tell) {
  const id = `capex-field-${crypto.randomUUID()}`; // each group of fields is a module of its own
  let spec = model.get("fields").find((each) => each.key === key);
  const row = make("div", `capex-field capex-field-${spec.kind}`, parent);
  if (spec.kind === "button") {
    const button = make("button", "capex-button", row, spec.label);
    button.type = "button";
    const error = make("p", "capex-field-error", row);
    error.setAttribute("role", "alert");
    const hint = make("p", "capex-field-hint", row, spec.hint);
    hint.id = `${id}-hint`;
    button.setAttribute("aria-describedby", hint.id);
    button.addEventListener("click", () => tell({ kind: "pressed", key }));
    return {
      show() {
        spec = model.get("fields").find((each) => each.key === key);
        button.textContent = spec.label;
        button.disabled = spec.disabled;
        error.textContent = model.get("messages")[key] ?? "";
      },
    };
  }
  const label = make("label", "capex-field-label", row);
  label.htmlFor = id;
  const input = INPUTS[spec.kind](spec);
  input.node.id = id;
  input.node.classList.add("capex-field-input");
  const line = make("span", "capex-field-line", row);
  line.append(input.node);
  const unit = make("span", "capex-field-unit", line);
  const hint = make("p", "capex-field-hint", row);
  hint.id = `${id}-hint`;
  const error = make("p", "capex-field-error", row);
  error.id = `${id}-error`;
  error.setAttribute("role", "alert");
  input.node.setAttribute("aria-describedby", `${hint.id} ${error.id}`);

  let editing = false;
  let refused = false;
  let known;
  input.node.addEventListener("input", () => { editing = spec.kind === "text"; });
  input.node.addEventListener("change", () => {
    editing = false;
    refused = true; // until the kernel has answered
    tell({ kind: "changed", key, value: input.get() });
  });
  const restore = () => {
    if (!editing && !refused) input.set(model.get("values")[key]);
  };
  input.node.addEventListener("blur", () => {
    editing = false; // typed back to what it was: no change
    restore();
  });
  input.node.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || spec.kind !== "text") return;
    editing = refused = false;
    restore();
  });
  return {
    show() {
      spec = model.get("fields").find((each) => each.key === key);
      label.textContent = spec.label;
      unit.textContent = spec.unit;
      hint.textContent = spec.hint;
      input.node.disabled = spec.disabled;
      const options = JSON.stringify(spec.options);
      if (input.fill && options !== known) input.fill(spec.options);
      known = options;
      const message = model.get("messages")[key] ?? "";
      error.textContent = message;
      input.node.setAttribute("aria-invalid", String(message !== ""));
      refused = message !== "";
      restore();
    },
  };
}

function render({ model, el }) {
  const root = make("div", "capex-fields", el);
  root.setAttribute("role", "group");
  root.setAttribute("aria-label", model.get("label"));
  // While the kernel is busy entries queue up: what it answers to an earlier one would write over a
  // later one, so that only the answer to the last is shown.
  let sent = 0;
  const tell = (content) => model.send({ ...content, ticket: (sent += 1) });
  const rows = model.get("fields").map(({ key }) => fieldRow(model, key, root, tell));
  const show = () => {
    if (model.get("ticket") >= sent) rows.forEach((row) => row.show());
  };
  sent = model.get("ticket"); // of a page that was shown before
  model.on("change:fields change:values change:messages change:answer", show);
  show();
}

export default { render };
