// On pages other than the live one: what was said or taken on this device and waits for the server, or was refused by it.
import { Outbox } from "./outbox.js";
import { Photobox } from "./photo-outbox.js";
import { tn } from "../core/words.js";

const outbox = new Outbox();
const photos = new Photobox(outbox);
const now = { said: { count: 0, refused: 0 }, taken: { count: 0, refused: 0 } };
const says = document.createElement("p");
says.className = "notice flagged";
says.setAttribute("role", "status");
says.append(document.createElement("span"));

function draw({ said, taken }) {
  const lines = [
    said.count && tn("1 thing said on this device waits for the server, and will be sent by itself.", "{n} things said on this device wait for the server, and will be sent by themselves.", said.count),
    said.refused && tn("1 thing said on this device was not kept: the live page says why, and lets you change it.", "{n} things said on this device were not kept: the live page says why, and lets you change it.", said.refused),
    taken.count && tn("1 photo waits for the server.", "{n} photos wait for the server.", taken.count),
    taken.refused && tn("1 photo was not kept: the live page says why, and can send it again.", "{n} photos were not kept: the live page says why, and can send them again.", taken.refused),
  ].filter(Boolean);
  says.firstChild.textContent = lines.join(" ");
  if (lines.length) document.getElementById("main").prepend(says);
  else says.remove();
}

outbox.addEventListener("waiting", ({ detail }) => draw(Object.assign(now, { said: detail })));
photos.addEventListener("waiting", ({ detail }) => draw(Object.assign(now, { taken: detail })));
outbox.start();
photos.start();
