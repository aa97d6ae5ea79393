// Aroma words as a grid of toggles; those typical of a stage come first.

/**
 * All words, those of `stage` first.
 * @param {PageWords} words
 * @param {string | null} stage
 */
export function ordered(words, stage) {
  const first = words.aroma.by_stage[stage ?? ""] ?? [];
  return [...first, ...words.aroma.all.filter((word) => !first.includes(word))];
}

export class WordGrid {
  /** @type {Set<string>} */
  chosen = new Set();
  /** @type {Map<string, HTMLButtonElement>} */
  #buttons = new Map();

  /**
   * @param {HTMLElement} host
   * @param {PageWords} words
   * @param {() => void} onChange
   */
  constructor(host, words, onChange = () => {}) {
    this.host = host;
    this.words = words;
    this.onChange = onChange;
  }

  /** The displayed words, in their order. */
  get shown() {
    return [...this.#buttons.keys()];
  }

  /**
   * A word in the page's language; the word itself is stored.
   * @param {string} word
   */
  label(word) {
    return this.words.aroma.called[word] ?? word;
  }

  /** @param {string} word */
  toggle(word, on = !this.chosen.has(word)) {
    if (on) this.chosen.add(word);
    else this.chosen.delete(word);
    for (const [shown, button] of this.#buttons) button.setAttribute("aria-pressed", String(this.chosen.has(shown)));
  }

  /**
   * Selected words stay selected, whatever their new place.
   * @param {string[]} words
   */
  show(words) {
    this.#buttons = new Map([...new Set([...words, ...this.chosen])].map((word) => [word, this.#button(word)]));
    this.host.replaceChildren(...this.#buttons.values());
  }

  /** @param {string} word */
  #button(word) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.word = word;
    button.textContent = this.label(word);
    button.setAttribute("aria-pressed", String(this.chosen.has(word)));
    button.addEventListener("click", () => {
      this.toggle(word);
      this.onChange();
    });
    return button;
  }

  clear() {
    this.chosen.clear();
  }
}
