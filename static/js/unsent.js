// On pages other than the live one: what was said on this device and waits for the server, or was refused by it.
import { Outbox } from "./outbox.js";

const outbox = new Outbox();
const says = document.createElement("p");
says.className = "notice flagged";
says.setAttribute("role", "status");
says.append(document.createElement("span"));

const things = (count) => (count === 1 ? "1 thing" : `${count} things`);

outbox.addEventListener("waiting", ({ detail: { count, refused } }) => {
  const waits = count ? `${things(count)} said on this device wait${count === 1 ? "s" : ""} for the server, and will be sent by itself.` : "";
  const not = refused ? `${things(refused)} said on this device ${refused === 1 ? "was" : "were"} not kept: the live page says why, and lets you change it.` : "";
  says.firstChild.textContent = [waits, not].filter(Boolean).join(" ");
  if (waits || not) document.getElementById("main").prepend(says);
  else says.remove();
});
outbox.start();
