// Lookup of elements that must exist, and text updates that only touch changed text.

/**
 * @template {Element} T
 * @param {Element | null} found
 * @param {new () => T} kind
 * @param {string} name
 * @returns {T}
 */
function checked(found, kind, name) {
  if (found instanceof kind) return found;
  throw new Error(`The page has no ${kind.name} ${name}.`);
}

/**
 * The element with an id.
 * @template {Element} [T=HTMLElement]
 * @param {string} id
 * @param {new () => T} [kind]
 * @returns {T}
 */
export function byId(id, kind = /** @type {any} */ (HTMLElement)) {
  return checked(document.getElementById(id), kind, `#${id}`);
}

/**
 * The first element in `root` that matches a selector.
 * @template {Element} [T=HTMLElement]
 * @param {ParentNode} root
 * @param {string} selector
 * @param {new () => T} [kind]
 * @returns {T}
 */
export function find(root, selector, kind = /** @type {any} */ (HTMLElement)) {
  return checked(root.querySelector(selector), kind, selector);
}

/**
 * All elements in `root` that match a selector.
 * @template {Element} [T=HTMLElement]
 * @param {ParentNode} root
 * @param {string} selector
 * @param {new () => T} [kind]
 * @returns {T[]}
 */
export function findAll(root, selector, kind = /** @type {any} */ (HTMLElement)) {
  return [...root.querySelectorAll(selector)].map((found) => checked(found, kind, selector));
}

/**
 * The closest element at or around an event's target that matches a selector.
 * @template {Element} [T=HTMLElement]
 * @param {Event} event
 * @param {string} selector
 * @param {new () => T} [kind]
 * @returns {T | null}
 */
export function closest(event, selector, kind = /** @type {any} */ (HTMLElement)) {
  const found = event.target instanceof Element ? event.target.closest(selector) : null;
  return found && checked(found, kind, selector);
}

/** @type {WeakMap<Element, string>} */
const written = new WeakMap();

/**
 * Set text only if it differs: setting equal text would cause a useless layout.
 * @param {Element} element
 * @param {string} text
 */
export function setText(element, text) {
  if (written.get(element) === text) return;
  written.set(element, text);
  element.textContent = text;
}
