// Light and dark, and paper.

const root = document.documentElement;

const schemeButton = document.getElementById("capex-scheme");
const system = matchMedia("(prefers-color-scheme: dark)");

function setScheme(scheme) {
  root.dataset.scheme = scheme;
  schemeButton.textContent = scheme === "dark" ? "Light" : "Dark";
  schemeButton.setAttribute("aria-label", `Switch to the ${scheme === "dark" ? "light" : "dark"} page`);
  window.dispatchEvent(new Event("capex:scheme"));
}
schemeButton.addEventListener("click", () => {
  const scheme = root.dataset.scheme === "dark" ? "light" : "dark";
  localStorage.setItem("capex-scheme", scheme);
  setScheme(scheme);
});
system.addEventListener("change", () => {
  if (!localStorage.getItem("capex-scheme")) setScheme(system.matches ? "dark" : "light");
});
setScheme(root.dataset.scheme);

// Paper is always light. Capturing, so that the colours are set before any chart asks for them.
let screenScheme;
const printed = document.getElementById("capex-printed");
function datePaper() {
  const now = new Date();
  printed.dateTime = now.toISOString();
  printed.textContent = now.toLocaleDateString("en-GB", { dateStyle: "long" });
}
datePaper();
window.addEventListener("beforeprint", () => {
  datePaper();
  screenScheme = root.dataset.scheme;
  root.dataset.scheme = "light";
}, true);
window.addEventListener("afterprint", () => { root.dataset.scheme = screenScheme; }, true);
