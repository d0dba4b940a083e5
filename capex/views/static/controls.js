// Sliders and fields that only say what the user did; the kernel answers with what then holds.

function make(tag, className, parent, text) {
  const node = document.createElement(tag);
  node.className = className;
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

let count = 0;

function dialRow(model, described, parent) {
  const { path } = described;
  const id = `capex-dial-${++count}`;
  const row = make("div", "capex-dial", parent);
  const head = make("div", "capex-dial-head", row);
  const label = make("label", "capex-dial-label", head);
  label.htmlFor = id;
  const field = make("input", "capex-dial-field", head);
  field.type = "text";
  field.inputMode = "decimal";
  field.autocomplete = "off";
  const unit = make("span", "capex-dial-unit", head);
  const slider = make("input", "capex-dial-slider", row);
  Object.assign(slider, { id, type: "range" });
  const foot = make("div", "capex-dial-foot", row);
  const study = make("span", "capex-dial-study", foot);
  study.id = `${id}-study`;
  const ask = make("button", "capex-dial-button", foot, "?");
  const reset = make("button", "capex-dial-button", foot, "Reset");
  const hint = make("p", "capex-dial-hint", row);
  const error = make("p", "capex-dial-error", row);
  hint.id = `${id}-hint`;
  error.id = `${id}-error`;
  hint.hidden = true;
  error.setAttribute("role", "alert");
  const note = make("p", "capex-dial-note", row); // why it changes nothing
  note.setAttribute("role", "status");
  ask.type = reset.type = "button";
  ask.setAttribute("aria-expanded", "false");
  ask.setAttribute("aria-controls", hint.id);
  slider.setAttribute("aria-describedby", study.id);
  field.setAttribute("aria-describedby", `${study.id} ${error.id}`);

  let spec = described;
  // As many decimals as the value has, so that it is shown as it is used: `Dial.decimals`.
  const text = () => {
    const value = model.get("positions")[path] * spec.rate;
    const near = 1e-9 * Math.max(1, Math.abs(value));
    let decimals = spec.digits;
    while (decimals < 7 && Math.abs(Number(value.toFixed(decimals)) - value) > near) decimals++;
    return value.toFixed(decimals < 7 ? decimals : spec.digits + 2);
  };
  let editing = false; // between the first key in the field and its end
  let refused = false; // the field keeps what was typed, beside the message

  function showValue() {
    if (!editing && !refused) field.value = text();
    slider.setAttribute("aria-valuetext", `${text()} ${spec.unit}`);
  }
  function show() {
    const position = model.get("positions")[path];
    if (Number(slider.value) !== position) slider.value = position;
    const differs = model.get("changed").includes(path);
    row.classList.toggle("capex-dial-differs", differs);
    study.textContent = `${differs ? "changed; study" : "Study"}: ${spec.study}`;
    reset.hidden = !differs;
    const message = model.get("message")[path] ?? "";
    error.textContent = message;
    const said = model.get("notes")[path] ?? "";
    if (note.textContent !== said) note.textContent = said;
    field.setAttribute("aria-invalid", String(message !== ""));
    refused = message !== "";
    showValue();
  }
  function describe() {
    spec = model.get("dials").find((dial) => dial.path === path);
    label.textContent = spec.label;
    unit.textContent = spec.unit;
    hint.textContent = spec.hint;
    field.setAttribute("aria-label", `${spec.label}, ${spec.unit}`);
    ask.setAttribute("aria-label", `What ${spec.label} means`);
    reset.setAttribute("aria-label", `Reset ${spec.label}`);
    Object.assign(slider, { min: spec.low, max: spec.high, step: spec.step });
    show();
  }

  slider.addEventListener("input", () => {
    editing = refused = false;
    model.set("positions", { ...model.get("positions"), [path]: Number(slider.value) });
    model.save_changes();
    showValue();
  });
  field.addEventListener("input", () => { editing = true; });
  field.addEventListener("change", () => {
    editing = false;
    refused = true; // until the kernel has answered
    model.send({ kind: "typed", path, text: field.value });
  });
  field.addEventListener("blur", () => {
    editing = false; // typed back to what it was: no change
    showValue();
  });
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    editing = refused = false;
    showValue();
  });
  ask.addEventListener("click", () => {
    hint.hidden = !hint.hidden;
    ask.setAttribute("aria-expanded", String(!hint.hidden));
  });
  reset.addEventListener("click", () => {
    model.send({ kind: "reset", path });
    slider.focus();
  });
  return { show, describe };
}

// What was changed stays in this tab, by study, and is offered when a page of the study opens.
const study = new URLSearchParams(location.search).get("study") ?? "";
const KEPT = `capex-what-if:${study.split("@")[0]}`;

function kept() {
  try { return JSON.parse(sessionStorage.getItem(KEPT)) ?? {}; } catch { return {}; }
}
function keep(positions) {
  try {
    if (Object.keys(positions).length) sessionStorage.setItem(KEPT, JSON.stringify(positions));
    else sessionStorage.removeItem(KEPT);
  } catch { /* no storage: nothing is kept */ }
}

function keptOffer(model, parent) {
  const known = new Map(model.get("dials").map((dial) => [dial.path, dial]));
  const all = kept();
  const usable = Object.entries(all).filter(([path, position]) =>
    known.has(path) && Number.isFinite(position) && position !== model.get("positions")[path]);
  const row = make("div", "capex-dials-kept", parent);
  row.hidden = usable.length === 0 || model.get("changed").length > 0;
  const names = usable.map(([path]) => known.get(path).label.toLowerCase()).join(", ");
  const on = make("button", "", row, `Go on with your what-if settings (${names})`);
  const forget = make("button", "", row, "Forget them");
  on.type = forget.type = "button";
  on.addEventListener("click", () => {
    model.set("positions", { ...model.get("positions"), ...Object.fromEntries(usable) });
    model.save_changes();
  });
  forget.addEventListener("click", () => {
    keep({});
    row.hidden = true;
  });
  const keepNow = () => {
    const positions = model.get("positions");
    // another page of the study may move inputs that this one has no control for: they stay
    const others = Object.entries(kept()).filter(([path]) => !known.has(path));
    keep(Object.fromEntries([...others, ...model.get("changed").map((path) => [path, positions[path]])]));
  };
  model.on("change:changed", () => {
    row.hidden = true;
    keepNow();
  });
  model.on("change:positions", () => { if (row.hidden) keepNow(); });
}

function choice(model, parent, name, words, options) {
  const label = make("label", "capex-choice", parent, words);
  const select = make("select", "", label);
  for (const [value, shown] of options) select.add(new Option(shown, value));
  select.value = model.get(name);
  select.addEventListener("change", () => {
    model.set(name, select.value);
    model.save_changes();
  });
  model.on(`change:${name}`, () => { select.value = model.get(name); });
}

function render({ model, el }) {
  const root = make("section", "capex-dials", el);
  const after = () => root.closest(".capex-controls")?.nextElementSibling;
  const past = make("a", "capex-skip", root, "Skip the what-if controls");
  past.href = "#capex-main";
  past.addEventListener("click", (event) => {
    event.preventDefault();
    const target = after() ?? document.getElementById("capex-main");
    target.tabIndex = -1;
    target.focus();
  });
  const head = make("div", "capex-dials-head", root);
  const open = make("button", "capex-dials-open", head);
  open.type = "button";
  const title = make("h2", "capex-dials-title", head, "What if");
  const all = make("button", "capex-dials-reset", head, "Reset all");
  all.type = "button";
  keptOffer(model, root);
  const body = make("div", "capex-dials-body", root);
  body.id = `capex-dials-${++count}`;
  title.id = `${body.id}-title`;
  root.setAttribute("aria-labelledby", title.id);
  open.setAttribute("aria-controls", body.id);
  const choices = make("div", "capex-choices", body);
  choice(model, choices, "units", "Units", [["metric", "Metric"], ["us_customary", "US customary"]]);
  choice(model, choices, "currency", "Money in", model.get("currencies").map((code) => [code, code]));
  const rows = model.get("dials").map((described) => dialRow(model, described, body));

  const lasting = make("p", "capex-dials-lasting", body,
    "What if changes nothing in the study, and is kept in this tab only. What shall last is entered under My shop.");

  let shown = false;
  function summary() {
    const many = model.get("changed").length;
    const words = many ? `${many} changed` : "as in the study";
    open.textContent = `${shown ? "Close" : "What if…"} (${words})`;
    open.setAttribute("aria-expanded", String(shown));
    root.classList.toggle("capex-dials-shown", shown);
    all.disabled = many === 0;
    lasting.hidden = many === 0;
  }
  open.addEventListener("click", () => { shown = !shown; summary(); });
  root.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !shown || event.target.closest(".capex-dial-field")) return;
    shown = false;
    summary();
    open.focus();
  });
  all.addEventListener("click", () => model.send({ kind: "reset", path: null }));

  const show = () => { summary(); rows.forEach((row) => row.show()); };
  const describe = () => rows.forEach((row) => row.describe());
  model.on("change:positions change:changed change:message change:notes", show);
  model.on("change:dials", describe);
  describe();
  summary();
}

export default { render };
