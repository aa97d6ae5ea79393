// The running machines at the foot of the rail: asked for only where the rail is in sight.
const EVERY_MS = 4000;
const wide = matchMedia("(min-width: 62.5rem)");
const foot = document.querySelector(".rail-foot");

function ask() {
  if (wide.matches && !document.hidden) foot?.dispatchEvent(new CustomEvent("rail-tick"));
}

if (foot) {
  setInterval(ask, EVERY_MS);
  wide.addEventListener("change", ask);
  addEventListener("load", ask);
}
