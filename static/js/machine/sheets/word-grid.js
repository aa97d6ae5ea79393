// Aroma words as a grid of toggles; those that a stage tends to give come first.

/** All words, with those of `stage` in front. */
export function ordered(words, stage) {
  const first = words.aroma.by_stage[stage] ?? [];
  return [...first, ...words.aroma.all.filter((word) => !first.includes(word))];
}

export class WordGrid {
  constructor(host, words, onChange = () => {}) {
    this.host = host;
    this.words = words;
    this.chosen = new Set();
    host.addEventListener("click", ({ target }) => {
      const button = target.closest("button");
      if (!button) return;
      this.toggle(button.dataset.word);
      onChange();
    });
  }

  /** A word as the page's language has it; what is kept is the word itself. */
  called(word) {
    return this.words.aroma.called[word] ?? word;
  }

  toggle(word, on = !this.chosen.has(word)) {
    if (on) this.chosen.add(word);
    else this.chosen.delete(word);
    for (const button of this.host.children) button.setAttribute("aria-pressed", this.chosen.has(button.dataset.word));
  }

  /** Words that are chosen stay, wherever they stand now. */
  show(words) {
    this.host.replaceChildren(
      ...new Set([...words, ...this.chosen]).values().map((word) => {
        const button = document.createElement("button");
        button.type = "button";
        button.dataset.word = word;
        button.textContent = this.called(word);
        button.setAttribute("aria-pressed", this.chosen.has(word));
        return button;
      }),
    );
  }

  clear() {
    this.chosen.clear();
  }
}
