// Aroma words as a grid of toggles; those that a stage tends to give come first.

/** All words, with those of `stage` in front. */
export function ordered(words, stage) {
  const first = words.aroma.by_stage[stage] ?? [];
  return [...first, ...words.aroma.all.filter((word) => !first.includes(word))];
}

export class WordGrid {
  constructor(host, onChange = () => {}) {
    this.host = host;
    this.chosen = new Set();
    host.addEventListener("click", ({ target }) => {
      const button = target.closest("button");
      if (!button) return;
      this.toggle(button.textContent);
      onChange();
    });
  }

  toggle(word, on = !this.chosen.has(word)) {
    if (on) this.chosen.add(word);
    else this.chosen.delete(word);
    for (const button of this.host.children) button.setAttribute("aria-pressed", this.chosen.has(button.textContent));
  }

  /** Words that are chosen stay, wherever they stand now. */
  show(words) {
    this.host.replaceChildren(
      ...new Set([...words, ...this.chosen]).values().map((word) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = word;
        button.setAttribute("aria-pressed", this.chosen.has(word));
        return button;
      }),
    );
  }

  clear() {
    this.chosen.clear();
  }
}
