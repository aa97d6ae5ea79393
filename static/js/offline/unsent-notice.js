// On all pages but the live one: lists entries and photos of this device that wait for the server or were refused by
// it.
import { byId } from "../core/dom.js";
import { tn } from "../core/words.js";
import { Outbox } from "./outbox.js";
import { PhotoOutbox } from "./photo-outbox.js";

const outbox = new Outbox();
const photoOutbox = new PhotoOutbox(outbox);
const counts = { entries: { count: 0, refused: 0 }, photos: { count: 0, refused: 0 } };
const note = document.createElement("p");
const words = document.createElement("span");
note.className = "notice flagged";
note.setAttribute("role", "status");
note.append(words);

function draw() {
  const { entries, photos } = counts;
  const lines = [
    entries.count &&
      tn(
        "1 entry on this device is waiting for the server. It is sent automatically.",
        "{n} entries on this device are waiting for the server. They are sent automatically.",
        entries.count,
      ),
    entries.refused &&
      tn(
        "1 entry on this device was not saved. The live page shows why; change it there.",
        "{n} entries on this device were not saved. The live page shows why; change them there.",
        entries.refused,
      ),
    photos.count && tn("1 photo is waiting for the server.", "{n} photos are waiting for the server.", photos.count),
    photos.refused &&
      tn(
        "1 photo was not saved. The live page shows why; send it again there.",
        "{n} photos were not saved. The live page shows why; send them again there.",
        photos.refused,
      ),
  ].filter(Boolean);
  words.textContent = lines.join(" ");
  if (lines.length) byId("main").prepend(note);
  else note.remove();
}

outbox.on("waiting", (waiting) => {
  counts.entries = waiting;
  draw();
});
photoOutbox.on("waiting", (waiting) => {
  counts.photos = waiting;
  draw();
});
outbox.start();
photoOutbox.start();
