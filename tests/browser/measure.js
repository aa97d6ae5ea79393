// What the tests measure in a page; evaluated by the tests, never served.
({
  /** Everything that a finger may aim at, with its size and whether its words are cut off. */
  targets(root) {
    const aims = "button, a[href], input:not([type=hidden]), select, textarea, summary, [role=button]";
    const shown = (element) => element.checkVisibility({ visibilityProperty: true, opacityProperty: false }) && !element.closest(".skip, .unseen");
    const cut = (element) =>
      [element, ...element.querySelectorAll("*")].some((part) => {
        const { display, overflowY } = getComputedStyle(part);
        if (display === "inline" || part.closest(".unseen")) return false;
        // Letters may be taller than a tight line; they are cut off only where the overflow is.
        return part.scrollWidth > part.clientWidth + 1 || (overflowY !== "visible" && part.scrollHeight > part.clientHeight + 1);
      });
    return [...document.querySelector(root).querySelectorAll(aims)].filter(shown).map((element) => {
      const aim = element.matches("input") ? (element.closest("label") ?? element) : element;
      const { width, height, left, right, top, bottom } = aim.getBoundingClientRect();
      const name = `${element.tagName.toLowerCase()} ${element.id || element.name || ""} “${(element.getAttribute("aria-label") ?? element.innerText ?? "").trim().slice(0, 40)}”`;
      const inline = element.matches("a") && getComputedStyle(element).display === "inline";
      return { name, width, height, left, right, top, bottom, inline, cut: !inline && element.matches("button, a, summary") && cut(element) };
    });
  },
  /** Every text that is seen: its colour and size, what is behind it, and whether it is a live number. */
  texts(root) {
    const behind = (element) => {
      for (let at = element; at; at = at.parentElement) {
        const { backgroundColor } = getComputedStyle(at);
        if (!/^rgba\(.*, 0\)$/.test(backgroundColor)) return backgroundColor;
      }
      return getComputedStyle(document.documentElement).backgroundColor;
    };
    const found = [];
    const walker = document.createTreeWalker(document.querySelector(root), NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const element = walker.currentNode.parentElement;
      const words = walker.currentNode.data.trim();
      if (!words || !element.checkVisibility({ visibilityProperty: true }) || element.closest(".unseen, .skip, script, style, svg, :disabled")) continue;
      found.push({ words: words.slice(0, 40), ink: getComputedStyle(element).color, px: parseFloat(getComputedStyle(element).fontSize), paper: behind(element), live: Boolean(element.closest("#temp, #rate, #clock")) });
    }
    return found;
  },
  /** The colours behind the tokens, as the browser has them now. */
  tokens(names) {
    const probe = document.createElement("span");
    document.body.append(probe);
    const found = Object.fromEntries(names.map((name) => {
      probe.style.color = `var(--${name})`;
      return [name, getComputedStyle(probe).color];
    }));
    probe.remove();
    return found;
  },
  /** touch-action of an element and of all in it, shadow roots included. */
  touchActions(root) {
    const found = new Set();
    const visit = (element) => {
      found.add(getComputedStyle(element).touchAction);
      for (const child of [...(element.shadowRoot?.children ?? []), ...element.children]) visit(child);
    };
    for (let at = document.querySelector(root).parentElement; at; at = at.parentElement) found.add(getComputedStyle(at).touchAction);
    visit(document.querySelector(root));
    return [...found];
  },
})
