// What a page with widgets does by itself: names for controls, and telling the truth when its
// session has ended.

const byId = (id) => document.getElementById(id);
const config = JSON.parse(byId("jupyter-config-data")?.textContent ?? "{}");

let savedStudy; // that the page itself says it has saved

// Widgets arrive over time: each gets what it lacks for the keyboard and for a screen reader.
function nameControls() {
  for (const handle of document.querySelectorAll(".noUi-handle:not([aria-label])")) {
    const row = handle.closest(".jupyter-widgets");
    const words = row?.querySelector(".widget-label")?.textContent.trim();
    if (words) handle.setAttribute("aria-label", words);
  }
  for (const header of document.querySelectorAll(".jupyter-widget-Collapse-header:not([role])")) {
    header.role = "button";
    header.tabIndex = 0;
    header.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      header.click();
    });
  }
  const shop = document.querySelector("[data-shop]")?.dataset.shop;
  const named = byId("capex-shop");
  // what is written here is seen by the observer that calls this: the same again would go on for ever
  if (shop !== undefined && named.textContent !== shop) {
    if (named.textContent) byId("capex-demo").hidden = true; // renamed here: no longer the demo's shop
    named.textContent = named.title = shop;
  }
  const study = document.querySelector("[data-study]:not(.capex-pages)")?.dataset.study;
  if (study && study !== savedStudy) {
    savedStudy = study;
    window.dispatchEvent(new CustomEvent("capex:study", { detail: study }));
  }
}

// A sign stays on the line of its amount, and "±" with what follows it.
const APART = /−(?=[$€£¥\d])|± (?=[$€£¥\d])/g;
function keepTogether() {
  // a chart's picture is passed over as a whole: it holds most of the page's nodes
  const texts = document.createTreeWalker(main, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT, (node) =>
    node.nodeType === Node.TEXT_NODE ? NodeFilter.FILTER_ACCEPT
      : node.matches("svg, input, textarea, script, style") ? NodeFilter.FILTER_REJECT
        : NodeFilter.FILTER_SKIP);
  while (texts.nextNode()) {
    const node = texts.currentNode;
    const said = node.nodeValue.replace(APART, (sign) => (sign === "−" ? "−\u2060" : "±\u00a0"));
    if (said !== node.nodeValue) node.nodeValue = said;
  }
}

// Voilà puts its shell at the end of the body; it belongs below the header.
const main = byId("capex-main");
const loading = byId("capex-loading");
const failed = "#capex-main [data-mime-type='application/vnd.jupyter.stderr']";
const arrived = `#rendered_cells .jupyter-widgets, ${failed}`;
const whenIdle = (work) =>
  window.requestIdleCallback ? requestIdleCallback(work, { timeout: 300 }) : setTimeout(work, 50);
let naming = false;

// A page that did not even come as far as to say itself what went wrong: Voilà's words about its
// own options, which the page's style sheet hides, help nobody here.
function sayFailed(output) {
  const words = document.createElement("div");
  words.className = "capex-card";
  words.setAttribute("role", "alert");
  words.innerHTML = `<h1>This page cannot be shown</h1>
    <p>Something went wrong inside capex before it could say what. Nothing that you have saved is
    lost, and the other pages may well open.</p>
    <p>Reload this page. If it comes again, stop capex and start it again; what happened stands in
    the window from which it was started.</p>`;
  output.replaceWith(words);
}

// Runs for every drawing of a chart: all but the arrival waits until the page has time.
function pageChanged() {
  const shell = document.querySelector("body > .jp-LabShell");
  if (shell) main.append(shell);
  if (loading.isConnected && main.querySelector(arrived)) loading.remove();
  document.querySelectorAll(failed).forEach(sayFailed);
  if (ended) takeNoEntries(); // nor does what is opened only now
  if (naming) return;
  naming = true;
  whenIdle(() => { naming = false; nameControls(); keepTogether(); });
}
new MutationObserver(pageChanged).observe(document.body, { childList: true, subtree: true });

setTimeout(() => {
  if (!loading.isConnected) return;
  byId("capex-loading-words").textContent =
    "This takes unusually long. If nothing appears within a minute, reload the page; " +
    "if that does not help, stop capex and start it again.";
}, 30000);

// What stands in a field is told before the page leaves: a field tells its change when it is left.
// Voilà cuts the page off from its kernel at the first of these, and phones leave it out.
for (const leaving of ["beforeunload", "pagehide"]) {
  window.addEventListener(leaving, () => document.activeElement?.blur());
}

// A session that has ended must not look alive, nor take what nobody would hear.
const banner = byId("capex-banner");
byId("capex-reload").addEventListener("click", () => location.reload());

function say(words) {
  banner.hidden = false;
  byId("capex-banner-words").textContent = words;
}

// What stands in the fields can still be read and copied.
let ended = false;
function takeNoEntries() {
  main.classList.add("capex-ended");
  for (const field of main.querySelectorAll(".jp-LabShell :is(input, select, textarea, button)")) {
    if (field.matches("textarea, input[type=text]")) field.readOnly = true;
    else field.disabled = true;
  }
}

const heartbeat = setInterval(async () => {
  if (!config.kernelId || document.hidden) return;
  try {
    const answer = await fetch(`${config.baseUrl}api/kernels/${config.kernelId}`);
    if (answer.status === 404) {
      clearInterval(heartbeat);
      ended = true;
      takeNoEntries();
      say("This page's session has ended: its controls no longer do anything. " +
        "Reload it; work that was kept on this computer is offered again.");
    } else if (answer.ok) {
      banner.hidden = true;
    } else {
      say("This page does not belong to the capex that is running: open the address that it printed.");
    }
  } catch {
    say("capex is not running any more. Start it again, then reload this page; work that was " +
      "kept on this computer is offered again.");
  }
}, 8000);
