// A page that was kept says so until the server is back; what is typed into a form stays in it while none can take it.
import { ago } from "../core/duration.js";
import { soon } from "../core/fetch-timeout.js";
import { t } from "../core/words.js";

const LOOK_MS = 4000;
const { keptMs } = document.documentElement.dataset;
const says = document.createElement("p");
says.id = "no-server";
says.className = "notice flagged";
says.setAttribute("role", "status");
says.append(document.createElement("span"));

function say(...words) {
  says.firstChild.replaceChildren(...words);
  if (!says.isConnected) document.getElementById("main").prepend(says);
}

function again() {
  const link = document.createElement("a");
  link.href = "";
  link.textContent = t("Load it again");
  return link;
}

/** Nothing is loaded under a hand that types. */
async function look() {
  if (document.hidden || !(await soon("/healthz", { cache: "no-store" }).then(({ ok }) => ok, () => false))) return;
  clearInterval(looking);
  say(t("The server is back; this page is as it was {time} ago.", { time: ago(keptMs) }), " ", again());
}

let looking = 0;
if (keptMs) {
  const needs = document.querySelector("[data-offline]")?.dataset.offline ?? "";
  if (!document.getElementById("kept-pages")) say(t("The server did not answer: this page is as it was {time} ago.", { time: ago(keptMs) }), " ", needs);
  looking = setInterval(look, LOOK_MS);
}
document.addEventListener("submit", (event) => {
  if (navigator.onLine || event.defaultPrevented || event.target.method !== "post") return;
  event.preventDefault();
  say(t("This device has no network, and that needs the server. Nothing was sent; what you typed stays here."));
  says.scrollIntoView({ block: "center" });
});
