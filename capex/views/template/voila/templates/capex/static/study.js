// Which study a page shows: in its links, in its header, and whether a newer version was saved.
//
// The address names it (?study=KEY or KEY@N); the pages about studies pass it on in theirs, and
// where theirs has none, this tab remembers which study was opened last. A page that saves says so
// by an element with data-study="KEY@N"; page.js passes that on as the event "capex:study".

const navigation = document.querySelector(".capex-pages");
const baseUrl = navigation.dataset.base;
const element = (id) => document.getElementById(id);
const saved = /^([0-9a-f]{16})(?:@([0-9]+))?$/;

const ownPage = Boolean(document.body.dataset.ownPage); // about studies, on none of them
const MEMORY = "capex-study-open";

function remembered() {
  try { return sessionStorage.getItem(MEMORY) ?? ""; } catch { return ""; }
}
function remember(study) {
  try { sessionStorage.setItem(MEMORY, study); } catch { /* no storage: addresses carry it */ }
}

const query = new URLSearchParams(location.search);
let named = ownPage ? navigation.dataset.study || remembered() : query.get("study") ?? "";
let shown = Number(saved.exec(named)?.[2] ?? 0); // the version on this page; 0 is the last one

// Plain Voilà knows pages by their file's name only, and has no studies.
const plainNames = location.pathname.endsWith(".ipynb");

function linkPages() {
  for (const link of navigation.querySelectorAll("a[data-page]")) {
    const page = link.dataset.page;
    if (plainNames) link.hidden = page === "";
    if (plainNames && page === "") continue;
    const asked = named ? `?study=${encodeURIComponent(named)}` : "";
    link.href = plainNames ? `${page}.ipynb${asked}` : `${baseUrl}${page}${asked}`;
  }
}

// Whose figures these are: a study that ships is named by its file, a saved one by its key.
function sayDemo() {
  const demo = element("capex-demo");
  const ships = named ? !saved.test(named) : !ownPage && !navigation.dataset.startedWith;
  demo.hidden = !ships || plainNames || query.has("draft");
  demo.textContent = ownPage ? "Last opened: the demo, an invented shop" : "Demo: an invented shop";
}

// A link within a page to another page leads to the same study.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[data-to]");
  const page = link && navigation.querySelector(`a[data-page="${link.dataset.to}"]`);
  if (page) link.href = page.href;
}, true);

// On a phone the row of pages scrolls: the one that is shown comes into view, and the end at which
// there is more fades out.
const current = navigation.querySelector("[aria-current]");
if (current) navigation.scrollLeft = current.offsetLeft - navigation.offsetLeft - 40;
function sayMore() {
  const rest = navigation.scrollWidth - navigation.clientWidth - navigation.scrollLeft;
  navigation.dataset.more = `${navigation.scrollLeft > 2 ? "left" : ""} ${rest > 2 ? "right" : ""}`;
}
navigation.addEventListener("scroll", sayMore, { passive: true });
new ResizeObserver(sayMore).observe(navigation);

function sayNewer(found, key) {
  const newer = shown < found.versions;
  element("capex-newer").hidden = !newer;
  if (!newer) return;
  element("capex-newer-version").textContent = found.versions;
  element("capex-newer-when").textContent = found.saved;
  element("capex-newer-link").href = `${location.pathname}?study=${key}`;
}

async function lookForNewer() {
  const key = saved.exec(named)?.[1];
  if (!key || plainNames || document.hidden) return;
  let found;
  try {
    const answer = await fetch(`${baseUrl}studies/${key}/latest`);
    if (answer.status === 404 && ownPage) { // removed: the pages lead to it no longer
      named = "";
      remember("");
      linkPages();
    }
    if (!answer.ok) return;
    found = await answer.json();
  } catch {
    return; // page.js says so where the server has stopped
  }
  shown ||= found.versions;
  const link = element("capex-study");
  link.textContent = link.title = `${ownPage ? "Last opened: " : ""}${found.name}, version ${shown}`;
  link.href = `${baseUrl}studies/${key}`;
  link.hidden = false;
  if (!ownPage) sayNewer(found, key);
}

window.addEventListener("capex:study", (event) => {
  const [, key, version] = saved.exec(event.detail) ?? [];
  if (!key || (key === saved.exec(named)?.[1] && Number(version) === shown)) return;
  named = key;
  shown = Number(version ?? 0);
  history.replaceState(history.state, "", `${location.pathname}?study=${key}`);
  remember(named);
  linkPages();
  sayDemo();
  lookForNewer();
});

if (!ownPage) remember(named);
linkPages();
sayDemo();
lookForNewer();
if (!ownPage) {
  setInterval(lookForNewer, 20000);
  document.addEventListener("visibilitychange", lookForNewer);
}
