// Small helpers to build and refresh the page.
//
// In: tag names, attributes, texts. Out: DOM nodes. No innerHTML anywhere: whatever a part or an
// order is called, it stays text. No style attributes either (the content policy forbids them);
// positions are set as custom properties through the CSSOM.

const SVG = "http://www.w3.org/2000/svg";

/** The element with this id; the template guarantees that it is there. */
export const byId = (id) => document.getElementById(id);

/** Builds an element. `on…` attributes are listeners, `true` is an empty attribute, null is left out. */
export function el(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** The same for SVG. */
export function svg(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

/** Sets a text only when it differs, so that a live page does not relayout for nothing. */
export function setText(node, text) {
  const wanted = text ?? "";
  if (node.textContent !== wanted) node.textContent = wanted;
}

/** Sets or removes an attribute only when it differs. */
export function setAttribute(node, name, value) {
  if (value === null || value === undefined || value === false) {
    if (node.hasAttribute(name)) node.removeAttribute(name);
    return;
  }
  const wanted = value === true ? "" : String(value);
  if (node.getAttribute(name) !== wanted) node.setAttribute(name, wanted);
}

/** Sets a custom property (a plain number or a length) only when it differs. */
export function setProperty(node, name, value) {
  const wanted = String(value);
  if (node.style.getPropertyValue(name) !== wanted) node.style.setProperty(name, wanted);
}

// What was scrolled, ever. A container tells of it by itself.
const scrollers = new WeakSet();
document.addEventListener("scroll", (event) => scrollers.add(event.target), { capture: true, passive: true });

/**
 * Rebuilds the children of `container` when `key` (any JSON value) differs from last time.
 * The focus and the scroll position survive: a focused element is found again by its `data-focus`.
 */
export function rebuild(container, key, build) {
  const signature = JSON.stringify(key);
  if (container.benchSignature === signature) return false;
  container.benchSignature = signature;
  const focused = container.contains(document.activeElement) ? document.activeElement.dataset.focus : undefined;
  // Asking how far it is scrolled makes the browser lay out the page at once; only what was scrolled is asked.
  const scrolled = scrollers.has(container) ? container.scrollTop : 0;
  container.replaceChildren(...[build()].flat().filter(Boolean));
  if (scrolled > 0) container.scrollTop = scrolled;
  if (focused !== undefined) {
    const again = [...container.querySelectorAll("[data-focus]")].find((node) => node.dataset.focus === focused);
    again?.focus({ preventScroll: true });
  }
  return true;
}
