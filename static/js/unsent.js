// On pages other than the live one: what was said on this device and waits for the server, or was refused by it.
import { Outbox } from "./outbox.js";
import { tn } from "./words.js";

const outbox = new Outbox();
const says = document.createElement("p");
says.className = "notice flagged";
says.setAttribute("role", "status");
says.append(document.createElement("span"));

outbox.addEventListener("waiting", ({ detail: { count, refused } }) => {
  const waits = count ? tn("1 thing said on this device waits for the server, and will be sent by itself.", "{n} things said on this device wait for the server, and will be sent by itself.", count) : "";
  const not = refused ? tn("1 thing said on this device was not kept: the live page says why, and lets you change it.", "{n} things said on this device were not kept: the live page says why, and lets you change it.", refused) : "";
  says.firstChild.textContent = [waits, not].filter(Boolean).join(" ");
  if (waits || not) document.getElementById("main").prepend(says);
  else says.remove();
});
outbox.start();
