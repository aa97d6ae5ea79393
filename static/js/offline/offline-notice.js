// A cached page says so until the server is back; forms keep their input while it cannot be sent.
import { byId } from "../core/dom.js";
import { ageText } from "../core/duration.js";
import { fetchWithTimeout } from "../core/fetch-timeout.js";
import { t } from "../core/words.js";

const LOOK_MS = 4000;
const cachedMs = Number(document.documentElement.dataset.keptMs ?? 0);
const note = document.createElement("p");
const words = document.createElement("span");
note.id = "no-server";
note.className = "notice flagged";
note.setAttribute("role", "status");
note.append(words);

/** @param {(string | Node)[]} parts */
function show(...parts) {
  words.replaceChildren(...parts);
  if (!note.isConnected) byId("main").prepend(note);
}

function reloadLink() {
  const link = document.createElement("a");
  link.href = "";
  link.textContent = t("Reload");
  return link;
}

const answers = () =>
  fetchWithTimeout("/healthz", { cache: "no-store" }).then(
    ({ ok }) => ok,
    () => false,
  );

/** Do not reload a page while somebody types. */
async function look() {
  if (document.hidden || !(await answers())) return;
  clearInterval(timer);
  const text = t("Back online. This page is from {time} ago.", { time: ageText(cachedMs) });
  show(text, " ", reloadLink());
}

let timer = 0;
if (cachedMs) {
  const needs = document.querySelector("[data-offline]")?.getAttribute("data-offline") ?? "";
  if (!document.getElementById("kept-pages")) {
    const text = t("Offline. This page is from {time} ago.", { time: ageText(cachedMs) });
    show(text, " ", needs);
  }
  timer = setInterval(look, LOOK_MS);
}
document.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (navigator.onLine || event.defaultPrevented || form.method !== "post") return;
  event.preventDefault();
  show(t("Offline, and this needs the server. Nothing was sent; your input stays here."));
  note.scrollIntoView({ block: "center" });
});
