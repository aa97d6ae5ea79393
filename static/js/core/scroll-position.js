// Going back to a page leads to the place where it was left: a browser remembers that of a document, not of a part of it.
const page = document.querySelector(".page");

addEventListener("pagehide", () => history.replaceState({ ...history.state, place: page.scrollTop }, ""));
if (history.state?.place) page.scrollTop = history.state.place;
