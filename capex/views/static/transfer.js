// Files out of the page and into it; nothing passes over any network but to this page's kernel.

function make(tag, className, parent, text) {
  const node = document.createElement(tag);
  node.className = className;
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

function download(model, root) {
  const button = make("button", "capex-button", root);
  button.type = "button";
  button.addEventListener("click", () => model.send({ kind: "wanted" }));
  model.on("msg:custom", (message, buffers) => {
    if (message.kind !== "file") return;
    const link = document.createElement("a");
    const url = URL.createObjectURL(new Blob(buffers, { type: message.type }));
    Object.assign(link, { href: url, download: message.name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  });
  const error = make("p", "capex-field-error", root);
  error.setAttribute("role", "alert");
  return () => {
    button.textContent = model.get("busy") ? `${model.get("label")}: being made…` : model.get("label");
    button.disabled = model.get("disabled") || model.get("busy");
    error.textContent = model.get("message");
  };
}

function upload(model, root) {
  const label = make("label", "capex-button capex-upload", root);
  const words = make("span", "", label);
  const input = make("input", "", label);
  Object.assign(input, { type: "file", accept: model.get("accept") });
  const error = make("p", "capex-field-error", root);
  error.setAttribute("role", "alert");
  const busy = make("p", "capex-field-hint", root);
  busy.setAttribute("role", "status");
  input.addEventListener("change", async () => {
    const file = input.files[0];
    input.value = ""; // the same file may be chosen again once it is put right
    if (!file) return;
    // A larger message would close the socket without a word.
    if (file.size > model.get("largest")) {
      error.textContent = `${file.name} has ${(file.size / 1e6).toFixed(1)} MB; at most ${model.get("largest") / 1e6} MB can be read.`;
      return;
    }
    error.textContent = "";
    busy.textContent = `Reading ${file.name}…`;
    model.send({ kind: "file", name: file.name }, undefined, [await file.arrayBuffer()]);
  });
  return () => {
    words.textContent = model.get("label");
    error.textContent = model.get("message");
    busy.textContent = "";
  };
}

function render({ model, el }) {
  const root = make("div", "capex-transfer", el);
  const show = (model.get("direction") === "out" ? download : upload)(model, root);
  const hint = make("p", "capex-field-hint", root);
  const all = () => {
    show();
    hint.textContent = model.get("hint");
  };
  model.on("change:label change:disabled change:message change:busy change:hint change:answer", all);
  all();
}

export default { render };
