// Going back to a page restores its scroll position: a browser remembers it for a document, not for an element.
import { find } from "./dom.js";

const page = find(document, ".page");

addEventListener("pagehide", () => history.replaceState({ ...history.state, scrollTopPx: page.scrollTop }, ""));
if (history.state?.scrollTopPx) page.scrollTop = history.state.scrollTopPx;
