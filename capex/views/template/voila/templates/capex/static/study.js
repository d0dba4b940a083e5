// Which study a page shows: in its links, in its header, and whether a newer version was saved.
//
// The address names it (?study=KEY or KEY@N). A page that saves says so by an element with
// data-study="KEY@N"; page.js passes that on as the event "capex:study".

const navigation = document.querySelector(".capex-pages");
const baseUrl = navigation.dataset.base;
const element = (id) => document.getElementById(id);
const saved = /^([0-9a-f]{16})(?:@([0-9]+))?$/;

let named = new URLSearchParams(location.search).get("study") ?? "";
let shown = Number(saved.exec(named)?.[2] ?? 0); // the version on this page; 0 is the last one

// Plain Voilà knows pages by their file's name only, and has no studies.
const plainNames = location.pathname.endsWith(".ipynb");

function linkPages() {
  for (const link of navigation.querySelectorAll("a[data-page]")) {
    const page = link.dataset.page;
    if (plainNames) link.hidden = page === "";
    if (page === "" || (!named && !plainNames)) continue;
    const query = named ? `?study=${encodeURIComponent(named)}` : "";
    link.href = plainNames ? `${page}.ipynb${query}` : `${baseUrl}${page}${query}`;
  }
}

// On a phone the row of pages scrolls: the one that is shown comes into view.
const current = navigation.querySelector("[aria-current]");
if (current) navigation.scrollLeft = current.offsetLeft - navigation.offsetLeft - 40;

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
    if (!answer.ok) return;
    found = await answer.json();
  } catch {
    return; // page.js says so where the server has stopped
  }
  shown ||= found.versions;
  const link = element("capex-study");
  link.textContent = `${found.name}, version ${shown}`;
  link.href = `${baseUrl}studies/${key}`;
  link.hidden = false;
  sayNewer(found, key);
}

window.addEventListener("capex:study", (event) => {
  const [, key, version] = saved.exec(event.detail) ?? [];
  if (!key || (key === saved.exec(named)?.[1] && Number(version) === shown)) return;
  named = key;
  shown = Number(version ?? 0);
  history.replaceState(history.state, "", `${location.pathname}?study=${key}`);
  linkPages();
  lookForNewer();
});

if (!document.body.dataset.ownPage) {
  linkPages();
  lookForNewer();
  setInterval(lookForNewer, 20000);
  document.addEventListener("visibilitychange", lookForNewer);
}
