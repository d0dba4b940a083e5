// Terms of the field, marked where the page uses them and explained on hover, focus or tap.
//
// Once in each card; the first of a page is reached by Tab, the others by pointer. What the page
// writes anew is marked again once it has been quiet, so that a moving slider pays nothing.

const SKIPPED = "a, button, summary, label, select, input, textarea, svg, code, script, style, " +
  "noscript, dfn, [role=button], .capex-quoted, .capex-loading, .capex-skip";
const QUIET = 300; // [ms]
const main = document.getElementById("capex-main");

const note = document.createElement("div");
note.id = "capex-term";
note.role = "tooltip";
note.popover = "auto";
document.body.append(note);

let shownFor;
let waiting;

function show(button) {
  clearTimeout(waiting);
  if (shownFor === button && note.matches(":popover-open")) return;
  shownFor = button;
  const name = document.createElement("strong");
  name.textContent = button.capexTerm.name;
  note.replaceChildren(name, ` ${button.capexTerm.words}`);
  if (!note.matches(":popover-open")) note.showPopover();
  place();
}
function place() {
  const at = shownFor.getBoundingClientRect();
  const { offsetWidth: width, offsetHeight: height } = note;
  const below = at.bottom + 6;
  note.style.left = `${Math.max(8, Math.min(at.left, innerWidth - width - 8))}px`;
  note.style.top = `${below + height < innerHeight ? below : Math.max(8, at.top - height - 6)}px`;
}
function hide() {
  clearTimeout(waiting);
  if (note.matches(":popover-open")) note.hidePopover();
}
function hideSoon() {
  clearTimeout(waiting);
  waiting = setTimeout(hide, 250);
}
note.addEventListener("pointerenter", () => clearTimeout(waiting));
note.addEventListener("pointerleave", hideSoon);
addEventListener("scroll", () => note.matches(":popover-open") && place(), true);

function marked(term, text) {
  // A button element would be a box of its own, that lines break around and not within.
  const button = document.createElement("span");
  button.role = "button";
  button.tabIndex = -1;
  button.className = "capex-term";
  button.textContent = text;
  button.capexTerm = term;
  button.setAttribute("aria-describedby", note.id);
  button.addEventListener("click", () => show(button));
  button.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    show(button);
  });
  button.addEventListener("focus", () => button.matches(":focus-visible") && show(button));
  button.addEventListener("blur", hide); // what has the focus next must not lie beneath
  button.addEventListener("pointerenter", (event) => {
    if (event.pointerType !== "mouse") return;
    clearTimeout(waiting);
    waiting = setTimeout(() => show(button), 200);
  });
  button.addEventListener("pointerleave", (event) => event.pointerType === "mouse" && hideSoon());
  return button;
}

function pattern(known) {
  const forms = [...known.keys()].sort((one, other) => other.length - one.length);
  const escaped = forms.map((form) => form.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
  return new RegExp(`(?<![\\p{L}\\p{N}-])(${escaped.join("|")})(?![\\p{L}\\p{N}-])`, "giu");
}

// The text nodes in sight that may hold a term, in the order of the page.
function* texts() {
  const walker = document.createTreeWalker(main, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT, {
    acceptNode: (node) => node.nodeType === Node.TEXT_NODE
      ? NodeFilter.FILTER_ACCEPT
      : node.matches(SKIPPED) ? NodeFilter.FILTER_REJECT : NodeFilter.FILTER_SKIP,
  });
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    if (node.data.length > 2 && node.parentElement.checkVisibility()) yield node;
  }
}

// A flexible box lays out each piece of its text by itself: there the text stays one piece.
function inOnePiece(node) {
  if (!/flex|grid/.test(getComputedStyle(node.parentElement).display)) return;
  const piece = document.createElement("span");
  node.replaceWith(piece);
  piece.append(node);
}

function mark(known, found) {
  const seen = new Map(); // terms that a card already has
  const has = (card) => seen.get(card) ?? seen.set(card, new Set()).get(card);
  const cardOf = (node) => node.closest(".capex-card") ?? main;
  const inSight = () => [...main.querySelectorAll(".capex-term")].filter((each) => each.checkVisibility());
  for (const button of inSight()) has(cardOf(button)).add(button.capexTerm);
  for (const node of [...texts()]) {
    const terms = has(cardOf(node.parentElement));
    let [rest, at] = [node, 0];
    for (const match of [...node.data.matchAll(found)]) {
      const { term, form } = known.get(match[1].toLowerCase());
      // APR is a rate, Apr a month
      if (terms.has(term) || (form === form.toUpperCase() && match[1] !== form)) continue;
      terms.add(term);
      if (rest === node) inOnePiece(node);
      const word = rest.splitText(match.index - at);
      rest = word.splitText(match[0].length);
      at = match.index + match[0].length;
      word.replaceWith(marked(term, word.data));
    }
  }
  const reached = new Set();
  for (const button of inSight()) {
    button.tabIndex = reached.has(button.capexTerm) ? -1 : 0;
    reached.add(button.capexTerm);
  }
}

async function start() {
  const answer = main.dataset.terms && (await fetch(main.dataset.terms));
  if (!answer?.ok) return;
  const known = new Map();
  for (const term of (await answer.json()).terms) {
    for (const form of [term.name, ...term.forms]) known.set(form.toLowerCase(), { term, form });
  }
  const found = pattern(known);
  const watch = new MutationObserver(changed);
  let soon;
  function changed() {
    clearTimeout(soon);
    soon = setTimeout(() => {
      watch.disconnect(); // its own marks are no change
      mark(known, found);
      watch.observe(main, {
        childList: true, subtree: true, characterData: true, attributeFilter: ["open", "hidden"],
      });
    }, QUIET);
  }
  changed();
}
start();
