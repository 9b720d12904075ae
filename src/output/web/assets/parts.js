// Parts of a page that follow the journal: the daemon makes the page anew, and what differs is put in its place.
//
// In: the sequence of the newest event. Out: the elements with `data-part`, exchanged. A part that did not change is
// left alone, so what somebody is typing in it stays; so does a part that holds the focus of a field.

import { answerForms } from "./forms.js";
import { showTimes } from "./times.js";

const AT_MOST_EVERY_MS = 700;

let shown = Number(document.body.dataset.seq ?? 0);
let wanted = shown;
let running = false;
// What each part was when it came, before a script or a person touched it.
const came = new Map();
remember(document);
document.addEventListener("visibilitychange", () => refreshParts(wanted));

function remember(from) {
  for (const part of from.querySelectorAll("[data-part]")) came.set(part.dataset.part, part.outerHTML);
}

/** Brings the parts up to event `seq`, at most so often. */
export function refreshParts(seq) {
  if (typeof seq === "number") wanted = Math.max(wanted, seq);
  // Nobody looks: what happened meanwhile is fetched once, when somebody does.
  if (running || wanted <= shown || came.size === 0 || document.hidden) return;
  running = true;
  setTimeout(fetchPage, AT_MOST_EVERY_MS);
}

async function fetchPage() {
  const asked = wanted;
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (answer.ok) {
      exchange(new DOMParser().parseFromString(await answer.text(), "text/html"));
      shown = asked;
    }
  } catch {
    // The daemon is away; the banner says so, and the next message after it is back asks again.
  } finally {
    running = false;
  }
  if (wanted > shown) refreshParts(wanted);
}

function exchange(page) {
  const isTyping = (part) => part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea");
  for (const fresh of page.querySelectorAll("[data-part]")) {
    const name = fresh.dataset.part;
    const old = document.querySelector(`[data-part="${CSS.escape(name)}"]`);
    if (came.get(name) === fresh.outerHTML) continue;
    if (old && isTyping(old)) continue;
    came.set(name, fresh.outerHTML);
    const node = document.importNode(fresh, true);
    if (old) {
      // Rows that come and go name what stands open in them.
      const keyOf = (details, index) => details.dataset.key ?? index;
      const open = new Map([...old.querySelectorAll("details")].map((details, index) => [keyOf(details, index), details.open]));
      const scrolled = [...old.querySelectorAll(".wide")].map((wide) => wide.scrollTop);
      const focused = old.contains(document.activeElement) ? pathOf(old, document.activeElement) : null;
      old.replaceWith(node);
      node.querySelectorAll("details").forEach((details, index) => (details.open = open.get(keyOf(details, index)) ?? details.open));
      node.querySelectorAll(".wide").forEach((wide, index) => (wide.scrollTop = scrolled[index] ?? 0));
      if (focused) node.querySelector(focused)?.focus({ preventScroll: true });
    } else {
      put(node, page);
    }
    showTimes(node);
    answerForms(node);
  }
  for (const old of document.querySelectorAll("[data-part]")) {
    if (page.querySelector(`[data-part="${CSS.escape(old.dataset.part)}"]`)) continue;
    came.delete(old.dataset.part);
    old.remove();
  }
}

// A part that is new stands before the part that follows it in the fresh page, or at the end of its neighbour's parent.
function put(node, page) {
  const order = [...page.querySelectorAll("[data-part]")].map((part) => part.dataset.part);
  const after = order.slice(order.indexOf(node.dataset.part) + 1);
  for (const name of after) {
    const next = document.querySelector(`[data-part="${CSS.escape(name)}"]`);
    if (next) {
      next.before(node);
      return;
    }
  }
  document.querySelector("main").append(node);
}

// Enough of a path to find the same button in a fresh part.
function pathOf(part, node) {
  const form = node.closest("form[data-command]");
  if (form) return `form[data-command="${form.dataset.command}"] button`;
  return node.matches("a[href]") ? `a[href="${CSS.escape(node.getAttribute("href"))}"]` : null;
}
